"""What the sums of the books are made of; each figure of theirs opens to one of these."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.text import capfirst
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from api.pages.books import PARTS, USUAL_DAYS, OnForm, PeriodForm
from api.pages.saying import in_words
from api.pages.words import account_called, worded
from api.pages.words import kind as kind_called
from api.pages.workings import Line, Working, address, with_rest
from formulas import comparing
from formulas.errors import NotFinished, StandardMissing
from formulas.variance_workings import working_of
from formulas.variances import FORMULAS, InputVariance, Split
from ledger import book_lines, book_reading
from ledger.access import day_of
from ledger.errors import NotFound
from ledger.lot_reading import show_lot
from ledger.quantities import kept_in
from ledger.roles import Verb

ZERO: Final = Decimal(0)
# What is asked of a batch beside its standard, and of what is used or sold.
COMPARED: Final[Mapping[str, Any]] = {
    "actual": _("Cost"),
    "standard": _("Standard"),
    "total": _("Difference"),
}
GONE: Final[Mapping[str, Any]] = {"used": _("What was used"), "sold": _("What was sold")}
PLACES: Final[Mapping[str, Any]] = {
    "store": _("In store"),
    "pots": _("In pots"),
    "shops": _("At shops"),
}


class OfDays(Working):
    """A working of the days that the address names; what cannot be read is the usual days."""

    def days(self) -> tuple[date, date]:
        form = PeriodForm(self.request.GET, reader=self.reader)
        if form.is_valid() and form.cleaned_data["first"] <= form.cleaned_data["last"]:
            return form.cleaned_data["first"], form.cleaned_data["last"]
        last = day_of(self.actor, self.now)
        return last - USUAL_DAYS, last

    def of_days(self, name: object, first: date, last: date) -> str:
        days = {"what": name, "first": self.reader.day(first), "last": self.reader.day(last)}
        return said("%(what)s, %(first)s to %(last)s") % days

    def by_entry(self, name: object, found: book_lines.Lines, unit: str = "") -> Line:
        """A figure by its entries, with their day and what they did; each opens to what moved."""
        money = self.actor.currency
        lines = [
            Line(
                self._entry(one),
                one.value,
                money,
                facts={
                    "quantity": f"{one.quantity:f} {unit}" if one.quantity else "",
                    "lot": one.lot,
                    "reason": one.reason,
                },
                to=address("entries", one.entry),
            )
            for one in found.rows
        ]
        rest = found.count - len(lines)
        return Line(str(name), found.value, money, parts=with_rest(lines, found.value, rest, money))

    def so_much(self, name: object, found: book_lines.Lines, unit: str) -> Line:
        """The quantities of the same entries; those that moved value alone are none of them."""
        whole = found.quantity
        lines = [
            Line(
                self._entry(one),
                one.quantity,
                unit,
                facts={"lot": one.lot, "reason": one.reason},
                to=address("entries", one.entry),
            )
            for one in found.rows
            if one.quantity
        ]
        rest = found.count - len(found.rows)
        return Line(str(name), whole, unit, parts=with_rest(lines, whole, rest, unit))

    def _entry(self, one: book_lines.OfEntry) -> str:
        return f"{self.reader.day(one.on)} · {kind_called(one.kind)}"


class WorthOfAll(Working):
    """What stock was worth on a day, by material: all of it, or what was in one place."""

    def get(self, request: HttpRequest) -> HttpResponse:
        form = OnForm(request.GET, reader=self.reader)
        on = form.cleaned_data["on"] if form.is_valid() else day_of(self.actor, self.now)
        place = request.GET.get("place", "")
        found = book_reading.valuation(self.actor, on=on, limit=self.most)
        worth = place if place in PLACES else "value"
        money, whole = self.actor.currency, getattr(found, worth)
        lines = [
            Line(
                one.name,
                getattr(one, worth),
                money,
                to=address("materials", one.material, "worth", on=on),
            )
            for one in found.rows
        ]
        told = [one for one in lines if one.amount]
        figure = Line(
            f"{PLACES[place] if place in PLACES else said('In all')}, {self.reader.day(on)}",
            whole,
            money,
            parts=with_rest(told, whole, found.count - len(lines), money),
        )
        return self.opened(figure, address("books", on=on))


class Gone(OfDays):
    """What was used or sold in some days, by what happened to it."""

    def get(self, request: HttpRequest) -> HttpResponse:
        (first, last), of = self.days(), of_asked(request)
        found = book_lines.gone_by_kind(self.actor, of, first, last)
        money = self.actor.currency
        parts = tuple(
            Line(
                capfirst(kind_called(one.kind)),
                one.value,
                money,
                how=ngettext("%(n)d time", "%(n)d times", one.entries) % {"n": one.entries},
            )
            for one in found
        )
        whole = sum((one.value for one in found), ZERO)
        figure = Line(self.of_days(GONE[of], first, last), whole, money, parts=parts)
        back = address("books", "usage" if of == "used" else "sold", first=first, last=last)
        return self.opened(figure, back)


class GoneOf(OfDays):
    """What was used or sold of one material in some days, entry by entry."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        (first, last), of = self.days(), of_asked(request)
        days = {"first": first, "last": last}
        material, found = book_lines.gone_by_entry(
            self.actor, of, material=id, **days, limit=self.most
        )
        name, unit = self.of_days(material.name, first, last), kept_in(material.counted)
        of_what = self.so_much if request.GET.get("figure") == "quantity" else self.by_entry
        figure = of_what(name, found, unit)
        back = address("books", "usage" if of == "used" else "sold", **days)
        # A week of a material's own page of its use leads back there.
        if request.GET.get("back") == "week":
            back = address("materials", id, "usage")
        return self.opened(figure, back)


class Expensed(OfDays):
    """What was expensed in some days, by account; or what one account took, entry by entry."""

    def get(self, request: HttpRequest) -> HttpResponse:
        first, last = self.days()
        days = {"first": first, "last": last}
        kind, name = (request.GET.get(asked, "") for asked in ("kind", "name"))
        if kind:
            found = book_lines.expensed_by_entry(
                self.actor, kind=kind, name=name, **days, limit=self.most
            )
            figure = self.by_entry(self.of_days(account_called(name), first, last), found)
        else:
            rows = book_reading.expensed_between(self.actor, first, last)
            figure = Line(
                self.of_days(said("All that was expensed"), first, last),
                sum((one.value for one in rows), ZERO),
                self.actor.currency,
                parts=tuple(
                    Line(
                        account_called(one.name),
                        one.value,
                        self.actor.currency,
                        to=address("books", "expensed", kind=one.kind, name=one.name, **days),
                    )
                    for one in rows
                ),
            )
        return self.opened(figure, address("books", "sold", **days))


class Compared(OfDays):
    """The cost, the standard or a part of the difference of some days, batch by batch."""

    def get(self, request: HttpRequest) -> HttpResponse:
        first, last = self.days()
        part = request.GET.get("part", "total")
        called = {**COMPARED, **PARTS}.get(part)
        if called is None:
            raise NotFound
        found = comparing.finished_between(self.actor, first, last).order_by("-id")
        told = [
            (one, one.variances)
            for one in comparing.compare(self.actor, found)
            if one.variances is not None
        ]
        amounts = [getattr(one, part) if part in COMPARED else one.parts[part] for _, one in told]
        money, whole = self.actor.currency, sum(amounts, ZERO)
        lines = [
            Line(
                f"{one.making.batch.code} {one.making.batch.version.formula.name}",
                amount,
                money,
                to=address(
                    "batches",
                    one.making.batch_id,
                    "standard",
                    part=part if part in ("actual", "standard") else None,
                ),
            )
            for (one, _), amount in zip(told, amounts, strict=True)
            if amount
        ]
        shown = lines[: self.most]
        figure = Line(
            self.of_days(called, first, last),
            whole,
            money,
            how=worded(FORMULAS[part]) if part in FORMULAS else "",
            parts=with_rest(shown, whole, len(lines) - len(shown), money),
        )
        return self.opened(figure, address("books", "variances", first=first, last=last))


class BatchStandard(Working):
    """A batch beside its standard: each part of the difference, down to every material."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.SEE_COSTS)
        try:
            judged = comparing.variances_of(self.actor, id)
        except (NotFinished, StandardMissing) as missing:
            why = self.reader.dated(in_words(missing.detail, self.reader))
            return self.show(missing=why, back=address("batches", id))
        part = request.GET.get("part", "")
        whole = part not in ("actual", "standard")
        figure = working_of(self.actor, judged) if whole else self._by_input(judged, part)
        return self.opened(figure, address("batches", id), judged.compared.making.batch.code)

    def _by_input(self, judged: comparing.Judged, part: str) -> Line:
        """What all that went in cost, or should have cost, one by one."""
        told, money = judged.variances, self.actor.currency
        rows: list[tuple[str, InputVariance | Split]]
        rows = [(judged.names[one.name], one) for one in told.materials]
        rows += [(judged.names[id], one) for id, one in told.packaging.items()]
        rows += [(said("Work"), told.labour), (said("Overhead"), told.overhead)]
        lines = [Line(name, getattr(one, part), money) for name, one in rows if getattr(one, part)]
        return Line(str(COMPARED[part]), getattr(told, part), money, parts=tuple(lines))


class LotWorth(Working):
    """What a lot is worth: so much of it, at what its material costs in store now."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.SEE_COSTS)
        lot = show_lot(self.actor, id)
        name = said("Worth of %(lot)s") % {"lot": lot["code"]}
        return self.opened(self._worth(name, lot), address("lots", id))

    def _worth(self, name: str, lot: Mapping[str, Any]) -> Line:
        held, money = lot["on_hand"], self.actor.currency
        unit = "g" if "grams" in held else "each"
        there = Decimal(held.get("grams") or held["count"])
        parts = [Line(said("In store"), there, unit, to=address("lots", lot["id"]))]
        if cost := lot["unit_cost"]:
            each = money if cost["per"] == "each" else f"{money}/kg"
            on = day_of(self.actor, self.now)
            to = address("materials", lot["material"], "worth", on=on)
            called = said("What is left of it costs, by its cost formula")
            parts.append(Line(called, Decimal(cost["amount"]), each, to=to))
        how = said("what is in store · what it costs")
        return Line(name, Decimal(lot["value"]), money, how=how, parts=tuple(parts))


def of_asked(request: HttpRequest) -> str:
    """Whether it is asked what was used or what was sold."""
    of = request.GET.get("of", "used")
    return of if of in GONE else "used"
