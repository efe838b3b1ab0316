"""Where a lot came from, and where all of it went, as a picture and as tables."""

from collections.abc import Sequence
from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from api.pages import side_tables
from api.pages.flows import MOST_BANDS
from api.pages.screen import Screen
from api.pages.traced_nodes import picture_of
from ledger.trace_ends import End, ends_of
from ledger.tracing import Direction, TracedLot, trace

# So many lots are listed, and of too many for a picture so much of what each came of and went to.
MOST_LOTS: Final = 80
MOST_TOLD: Final = 6


class Trace(Screen):
    """A lot drawn between its sources and what was made of it, or where all of it went."""

    template = "pages/trace.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        direction: Direction = "back" if request.GET.get("way") == "back" else "forward"
        traced = trace(self.actor, lot=id, direction=direction)
        lots = traced.lots
        ends = ends_of(self.actor, [one.id for one in lots]) if direction == "forward" else []
        files = {
            "": lambda: side_tables.on_the_way(traced),
            "flows": lambda: side_tables.flows(traced, ends),
            "whereabouts": lambda: side_tables.whereabouts(traced),
        }
        picture = picture_of(lots, ends, traced.lot.id, self.reader.quantity)
        return self.show(
            files=files,
            traced=traced,
            way=direction,
            # What is drawn stands in the list as well, all of it.
            listed=_listed(lots, ends, MOST_TOLD if picture is None else MOST_BANDS),
            more=len(lots) > MOST_LOTS,
            picture=picture,
            too_much=picture is None and (len(lots) > 1 or bool(ends)),
        )


def _listed(lots: Sequence[TracedLot], ends: Sequence[End], most: int) -> list[dict[str, object]]:
    """The first lots: of which each was made, the most first, and where it ended."""
    known = {lot.id: lot for lot in lots}
    listed = []
    for lot in lots[:MOST_LOTS]:
        inputs = sorted(lot.inputs, key=lambda one: one[1], reverse=True)
        came = [(known[one], much) for one, much in inputs if one in known]
        went = [one for one in ends if one.lot == lot.id]
        rest = max(0, len(came) - most) + max(0, len(went) - most)
        listed.append({"lot": lot, "came": came[:most], "went": went[:most], "rest": rest})
    return listed
