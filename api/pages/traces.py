"""Where a lot came from, and where all of it went, as a picture and as tables."""

from decimal import Decimal
from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from api.pages import side_tables
from api.pages.flows import MOST_BANDS, MOST_BOXES, across, columns_of
from api.pages.screen import Screen
from api.pages.upright import upright
from ledger.tracing import Direction, TracedLot, trace

# So many lots are listed, and so many that went into one of them; the file has all.
MOST_LOTS: Final = 80
MOST_INPUTS: Final = 6


class Trace(Screen):
    """A lot drawn between its sources and what was made of it."""

    template = "pages/trace.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        direction: Direction = "back" if request.GET.get("way") == "back" else "forward"
        traced = trace(self.actor, lot=id, direction=direction)
        below = beside = None
        bands = sum(len(lot.inputs) for lot in traced.lots)
        if 1 < len(traced.lots) <= MOST_BOXES and bands <= MOST_BANDS:
            columns, how = columns_of(traced.lots), (traced.lot.id, self.reader.quantity)
            below, beside = upright(columns, *how), across(columns, *how)
        known = {lot.id: lot for lot in traced.lots}
        listed = [
            (lot, [(known[one], much) for one, much in _by_amount(lot) if one in known])
            for lot in traced.lots[:MOST_LOTS]
        ]
        files = {
            "": lambda: side_tables.on_the_way(traced),
            "whereabouts": lambda: side_tables.whereabouts(traced),
        }
        return self.show(
            files=files,
            traced=traced,
            way=direction,
            listed=[(lot, went[:MOST_INPUTS], len(went) > MOST_INPUTS) for lot, went in listed],
            more=len(traced.lots) > MOST_LOTS,
            below=below,
            beside=beside if beside and beside.fits else None,
        )


def _by_amount(lot: TracedLot) -> list[tuple[UUID, Decimal]]:
    """What went into a lot, the most of it first."""
    return sorted(lot.inputs, key=lambda one: one[1], reverse=True)
