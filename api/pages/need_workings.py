"""How each figure of what the next weeks need came about; opened in place."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.orders import AHEAD
from api.pages.reader import Reader
from api.pages.workings import MOST_LINES, Line, Working, address, with_rest
from formulas.requirement_records import DAYS, Taken, Week
from formulas.requirement_sources import Source, sources_of
from formulas.requirements import Requirement, requirements
from ledger.access import day_of, material_for
from ledger.models import Material
from ledger.quantities import kept_in

ZERO: Final = Decimal(0)
EVER: Final = date(9999, 12, 30)
# The figures of a week.
FIGURES: Final[Mapping[str, Any]] = {
    "needed": _("Needed"),
    "coming": _("To come"),
    "expiring": _("Expires"),
    "short": _("Short"),
    "left": _("Then left"),
    "order": _("Order then"),
}
# The same where they are taken away.
LESS: Final[Mapping[str, Any]] = {
    "needed": _("less what is needed, week from %(day)s"),
    "coming": _("less what is to come, week from %(day)s"),
    "expiring": _("less what expires, week from %(day)s"),
    "left": _("less what is left of the week from %(day)s"),
}
LEADS_TO: Final = {
    "batch": "batches",
    "promised": "batches",
    "shelf": "lots",
    "making": "batches",
    "order": "orders",
    "lot": "lots",
}


@dataclass(frozen=True, slots=True)
class Teller:
    """Tells the figures of one material's weeks, as lines that add up."""

    reader: Reader
    material: Material
    row: Requirement | None
    names: Mapping[str, str]
    sources: Sequence[Source]
    most: int
    until: date | None

    @property
    def weeks(self) -> Sequence[Week]:
        return self.row.record.weeks if self.row else ()

    def line(self, name: str, amount: Decimal, parts: Iterable[Line] = (), **facts: Any) -> Line:
        unit = kept_in(self.material.counted)
        return Line(name, amount, unit, parts=tuple(parts), **facts)

    def summed(self, name: str, parts: Iterable[Line]) -> Line:
        lines = tuple(parts)
        whole = sum((one.amount or ZERO for one in lines), ZERO)
        shown, unit = lines[: self.most], kept_in(self.material.counted)
        return self.line(name, whole, with_rest(shown, whole, len(lines) - len(shown), unit))

    def told(self, figure: str, place: int) -> Line:
        """One figure of one week."""
        return getattr(self, f"_{figure}")(place)  # type: ignore[no-any-return]

    def in_hand(self) -> Line:
        """What may be used today, lot by lot."""
        return self.summed(said("In hand"), self._of("lot", date.min, date.max))

    def to_order(self) -> Line:
        """All that is short; or, if that is more, what lifts it above its low-stock point."""
        row, name = self.row, said("To order")
        if row is None:
            return self.line(name, ZERO)
        low = row.reorder
        if low is None or row.record.net >= low.quantity:
            return self.summed(name, (self._brief("short", place) for place in self._that_lack()))
        return self.lift()

    def lift(self) -> Line:
        """What lifts it from where it stands to a week's use above its low-stock point."""
        low, name = self.row.reorder if self.row else None, said("To order")
        if low is None:
            return self.line(name, ZERO)
        lifts = self.line(said("up to a week's use above its low-stock point"), low.up_to)
        called = said("less what is left once all is made")
        less = self.line(called, -low.position, to=self.opens("position"))
        return self.summed(name, (lifts, less))

    def counted_on(self) -> Line:
        """What may be used and what is on order, less all that planned batches need."""
        parts = [self.in_hand(), self._all(said("On order"), "order")]
        parts.append(self._less(said("less what planned batches need"), self._all("", "batch")))
        return self.summed(said("To count on"), [one for one in parts if one.amount])

    def position(self) -> Line:
        """That, less what intermediates need that are still to be planned; of what is made here,
        with what planned batches will give up to the last of the weeks."""
        row = self.row
        if row is None or row.record.formula is None:
            below = [self._below(one) for one in (row.record.taken if row else ())]
            called = said("less what is needed by what is still to be planned")
            parts = [self.counted_on(), self._less(called, self.summed("", below))]
        else:
            weeks = range(len(self.weeks))
            parts = [self.in_hand(), *(self._brief("coming", place) for place in weeks)]
            parts += [
                self._less_of("needed", place, self._brief("needed", place)) for place in weeks
            ]
        return self.summed(said("Left once all is made"), [one for one in parts if one.amount])

    def on_shelf(self) -> Line:
        """All that is in store, whether it may be used or not, lot by lot."""
        return self._all(said("On the shelf"), "shelf")

    def promised(self) -> Line:
        """What of it lies in store for planned batches, batch by batch."""
        return self._all(said("Promised to batches"), "promised")

    def _brief(self, figure: str, place: int) -> Line:
        """A figure of a week without its parts; it opens further."""
        told = self.told(figure, place)
        return self.line(told.name, told.amount or ZERO, to=self.opens(figure, place))

    def _all(self, name: str, kind: str) -> Line:
        return self.summed(name, self._of(kind, date.min, date.max))

    def _below(self, one: Taken) -> Line:
        """What an intermediate takes."""
        name = said("%(name)s, still to be planned") % {
            "name": self.names.get(one.intermediate, "")
        }
        return self.line(name, one.grams, to=address("order", material=one.intermediate))

    def _that_lack(self) -> list[int]:
        return [place for place, week in enumerate(self.weeks) if week.netted.net]

    def _of(self, kind: str, first: date, last: date) -> list[Line]:
        """The sources of a kind from a day to another."""
        return [
            self.line(
                one.code or said("promised to something else"),
                one.quantity,
                how=self._when(one.on),
                to=address(LEADS_TO[kind], one.id) if one.id else "",
            )
            for one in self.sources
            if one.kind == kind and first <= one.on <= last
        ]

    def _when(self, on: date) -> str:
        return "" if on > EVER else self.reader.day(on)

    def _days(self, place: int) -> tuple[date, date]:
        """From when to when things count in a week; what is overdue counts in the first."""
        week = self.weeks[place]
        return (date.min if place == 0 else week.first), week.last

    def _called(self, figure: str, place: int) -> str:
        told = {"what": FIGURES[figure], "day": self.reader.day(self.weeks[place].first)}
        return said("%(what)s, week from %(day)s") % told

    def _needed(self, place: int) -> Line:
        first, last = self._days(place)
        below = [
            self._below(one)
            for one in (self.row.record.taken if self.row else ())
            if first <= one.on <= last
        ]
        return self.summed(self._called("needed", place), [*self._of("batch", first, last), *below])

    def _coming(self, place: int) -> Line:
        first, last = self._days(place)
        parts = [*self._of("order", first, last), *self._of("making", first, last)]
        return self.summed(self._called("coming", place), parts)

    def _expiring(self, place: int) -> Line:
        first, last = self._days(place)
        parts = [
            self.line(
                said("not used by %(day)s") % {"day": self.reader.day(day - timedelta(days=1))},
                quantity,
            )
            for day, quantity in (self.row.record.lost if self.row else ())
            if first <= day <= last
        ]
        return self.summed(self._called("expiring", place), parts)

    def _before(self, place: int) -> Line:
        """What is left of the week before; in the first week what is in hand."""
        return self._left(place - 1, short=True) if place else self.in_hand()

    def _short(self, place: int) -> Line:
        """Needed, expired and to stay, less what is left and to come; never below nothing."""
        parts = [self._needed(place), self._expiring(place)]
        if self.row and self.row.record.safety:
            parts.append(self.line(said("to stay as safety stock"), self.row.record.safety))
        if place:
            parts.append(self._less_of("left", place - 1, self._before(place)))
        else:
            parts.append(self._less(said("less what is in hand"), self.in_hand()))
        parts.append(self._less_of("coming", place, self._coming(place)))
        lacking = sum((one.amount or ZERO for one in parts), ZERO)
        if lacking < 0:
            parts.append(self.line(said("more than enough"), -lacking))
        return self.summed(self._called("short", place), [one for one in parts if one.amount])

    def _left(self, place: int, *, short: bool = False) -> Line:
        """What a week begins with and what comes and is bought, less what goes."""
        name, week = self._called("left", place), self.weeks[place]
        if short:
            to = self.opens("left", place)
            return self.line(name, week.netted.projected, to=to)
        bought = self.line(
            said("what is short, bought or made"), week.netted.net, to=self.opens("short", place)
        )
        parts = [self._before(place), self._coming(place), bought]
        parts.append(self._less_of("needed", place, self._needed(place)))
        parts.append(self._less_of("expiring", place, self._expiring(place)))
        return self.summed(name, [one for one in parts if one.amount])

    def _order(self, place: int) -> Line:
        """What later weeks lack, so long before as it takes to arrive; in the first also what
        should have been ordered before."""
        lead = -(-((self.row.record.lead_days if self.row else 0) or 0) // DAYS)
        parts = [
            self._brief("short", other)
            for other in self._that_lack()
            if max(0, other - lead) == place
        ]
        return self.summed(self._called("order", place), parts)

    def _less_of(self, figure: str, place: int, one: Line) -> Line:
        """A figure of a week as what is taken away."""
        day = self.reader.day(self.weeks[place].first)
        return self._less(LESS[figure] % {"day": day}, one)

    def _less(self, name: str, one: Line) -> Line:
        """The same as what is taken away, called so; its parts are taken away with it."""
        parts = (self._less(part.name, part) for part in one.parts if isinstance(part, Line))
        return self.line(name, -(one.amount or ZERO), parts, how=one.how, to=one.to)

    def opens(self, figure: str, place: int | None = None) -> str:
        week = None if place is None else self.weeks[place].first
        asked = {"figure": figure, "week": week, "until": self.until}
        return address("materials", self.material.id, "need", **asked)


class MaterialNeed(Working):
    """A figure of a material's needs: of one week, of what is in hand, or of what to order.

    Of batches up to a day, where one is asked `until`, as a plan of orders is.
    """

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        material = material_for(self.actor, id)
        today = day_of(self.actor, self.now)
        until = self._until()
        found = requirements(self.actor, now=self.now, until=until or today + AHEAD)
        row = next((one for one in found.rows if one.material.id == material.id), None)
        sources = sources_of(self.actor, material=material.id, today=today, until=EVER)
        names = {str(one.material.id): one.material.name for one in found.rows}
        most = tables.MOST_ROWS if tables.asked(request) else MOST_LINES // 2
        teller = Teller(self.reader, material, row, names, sources, most, until)
        asked, weeks = request.GET.get("figure", ""), teller.weeks
        starts = [week.first.isoformat() for week in weeks]
        week = request.GET.get("week", "")
        if asked in FIGURES and week in starts:
            figure = teller.told(asked, starts.index(week))
        else:
            whole = {"to_order": teller.to_order, "lift": teller.lift, "position": teller.position}
            whole |= {"counted_on": teller.counted_on, "promised": teller.promised}
            whole["on_shelf"] = teller.on_shelf
            figure = whole.get(asked, teller.in_hand)()
        return self.opened(figure, address("order", material=material.id), material.name)

    def _until(self) -> date | None:
        try:
            return date.fromisoformat(self.request.GET.get("until", ""))
        except ValueError:
            return None
