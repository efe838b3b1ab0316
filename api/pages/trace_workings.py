"""Where a lot came from and where all of it is, entry by entry; opened in place."""

from decimal import Decimal
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.text import capfirst
from django.utils.translation import gettext as said

from api.pages.words import kind as kind_called
from api.pages.words import worded
from api.pages.workings import Line, Working, address, with_rest
from ledger.models import Lot
from ledger.quantities import kept_in
from ledger.tracing import balance_of
from ledger.whereabouts_lines import CAME_IN, Step, steps_of

ZERO = Decimal(0)


class LotWhereabouts(Working):
    """What of a lot is at one place, by what brought it there; or all that came in, less that."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        lot, steps = steps_of(self.actor, id)
        place = request.GET.get("place", "")
        back, of = address("lots", lot.id, "trace"), f"{lot.code} {lot.material.name}"
        if place not in steps:
            return self.opened(self._whole(lot), back, of)
        called = next(one for one in steps if one == place)
        name = said("Came in") if place == CAME_IN else str(capfirst(worded(called)))
        unit = kept_in(lot.material.counted)
        whole = sum((one.quantity for one in steps[place]), ZERO)
        shown = [self._line(one, unit) for one in steps[place][: self.most]]
        parts = with_rest(shown, whole, len(steps[place]) - len(shown), unit)
        return self.opened(Line(name, whole, unit, parts=parts), back, of)

    def _line(self, one: Step, unit: str) -> Line:
        called = f"{self.reader.day(one.on)} · {kind_called(one.kind)}"
        return Line(called, one.quantity, unit, to=address("entries", one.entry))

    def _whole(self, lot: Lot) -> Line:
        """What nobody can point to: all that came in, less what is at each place."""
        balance, unit = balance_of(self.actor, lot), kept_in(lot.material.counted)
        lines = [Line(said("Came in"), balance.received, unit, to=self._to(lot, CAME_IN))]
        lines += [
            Line(worded(place), -amount, unit, to=self._to(lot, place))
            for place, amount in balance.places
        ]
        shown = lines[: self.most]
        parts = with_rest(shown, balance.difference, len(lines) - len(shown), unit)
        how = said("what came in, less what is at each place")
        called = said("Not accounted for")
        return Line(called, balance.difference, unit, how=how, parts=parts)

    def _to(self, lot: Lot, place: str) -> str:
        return address("lots", lot.id, "whereabouts", place=str(place))
