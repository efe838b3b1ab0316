"""The books: what stock was worth on a day, what was used and sold, and why batches cost more."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, ClassVar, Final, TypeVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import side_tables, tables
from api.pages.forms import DayField, PageForm
from api.pages.screen import Screen
from api.pages.words import account_called
from api.pages.workings import Working
from formulas import comparing
from formulas.comparing import Compared
from formulas.explaining_worth import explain_stored, explain_worth
from formulas.variances import FORMULAS
from ledger import book_reading
from ledger.access import day_of
from ledger.book_reading import Period
from ledger.errors import Refusal
from ledger.models import Account
from ledger.money import minor_unit, round_together
from ledger.roles import Verb

# What has a value in the books.
Row = TypeVar("Row", book_reading.Worth, book_reading.Gone, book_reading.Expensed)
MOST: Final = 120
USUAL_DAYS: Final = timedelta(days=89)
# What each part of a variance is called on a page.
PARTS: Final[Mapping[str, Any]] = {
    "price": _("price of materials"),
    "mix": _("mix"),
    "yield": _("yield"),
    "packaging_price": _("price of packaging"),
    "packaging_usage": _("packaging used"),
    "labour_rate": _("rate of work"),
    "labour_efficiency": _("time of work"),
    "overhead_rate": _("rate of overhead"),
    "overhead_base": _("base of overhead"),
}


class OnForm(PageForm):
    on = DayField(label=_("At the end of this day"))


class OfBooks(Screen):
    """A page of the books."""

    def adding_up(self, amounts: Sequence[Decimal]) -> list[Decimal]:
        """Amounts as they are shown above their sum: whoever adds them up finds it, to the cent."""
        return round_together(amounts, step=minor_unit(self.actor.currency))

    def with_worth(self, rows: Sequence[Row]) -> list[tuple[Row, Decimal]]:
        """Rows, each with its value as it is shown above their sum."""
        return list(zip(rows, self.adding_up([one.value for one in rows]), strict=True))


class Books(OfBooks):
    """What stock was worth at the end of any day."""

    template = "pages/books.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.SEE_COSTS)
        today = day_of(self.actor, self.now)
        asked = "on" in request.GET
        form = OnForm(request.GET if asked else None, reader=self.reader, initial={"on": today})
        on = form.cleaned_data["on"] if asked and form.is_valid() else today
        if on > today:
            form.add_error("on", said("That day has not come yet: nobody knows what it brings."))
            on = today
        kind = tables.asked(request)
        most = tables.MOST_ROWS + 1 if kind else MOST
        found = book_reading.valuation(self.actor, on=on, limit=most)
        if kind:
            money = self.actor.currency
            columns = [said("Material"), said("In store"), said("Unit")]
            names = [said("Worth in store"), said("in pots"), said("at shops"), said("In all")]
            columns += [f"{name}, {money}" for name in names]
            cells = (
                (
                    *(one.name, one.stored, tables.unit_of(one.counted)),
                    *(one.store, one.pots, one.shops, one.value),
                )
                for one in found.rows
            )
            return tables.file(kind, tables.Table(f"valuation-{on}", columns, cells))
        places = self.adding_up([found.store, found.pots, found.shops])
        return self.show(
            form=form,
            found=found,
            parts=places,
            rows=self.with_worth(found.rows),
            may_copy=self.actor.may(Verb.COPY),
            status=422 if form.errors else 200,
        )


class Worth(Working):
    """How the worth of one material came about, or how much of it is in store; opened in place."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = OnForm(request.GET, reader=self.reader)
        on = form.cleaned_data["on"] if form.is_valid() else day_of(self.actor, self.now)
        explain = explain_stored if request.GET.get("figure") == "stored" else explain_worth
        figure = explain(self.actor, material=id, on=on)
        return self.opened(figure, f"/books?on={on}")


class PeriodForm(PageForm):
    first = DayField(label=_("From"))
    last = DayField(label=_("Until"))
    called: ClassVar = {"/from": "first", "/to": "last"}


class OfDays(OfBooks):
    """Books of a period that the address names; without one, the last ninety days."""

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.SEE_COSTS)
        last = day_of(self.actor, self.now)
        first = last - USUAL_DAYS
        asked = bool({"first", "last"} & set(request.GET))
        form = PeriodForm(
            request.GET if asked else None,
            reader=self.reader,
            initial={"first": first, "last": last},
        )
        if asked:
            if not form.is_valid():
                return self.show(form=form, status=422)
            first, last = form.cleaned_data["first"], form.cleaned_data["last"]
        try:
            return self.of(first, last, form, tables.asked(request))
        except Refusal as refusal:
            if not asked:
                raise
            form.refuse(refusal)
            return self.show(form=form, status=422)

    def of(self, first: date, last: date, form: PeriodForm, kind: str) -> HttpResponse:
        """The page of a period, or its table as a file."""
        raise NotImplementedError


class Usage(OfDays):
    """What was used, at cost."""

    template = "pages/books_usage.html"

    def of(self, first: date, last: date, form: PeriodForm, kind: str) -> HttpResponse:
        most = tables.MOST_ROWS + 1 if kind else MOST
        found = book_reading.used_between(self.actor, first, last, limit=most)
        if kind:
            return tables.file(kind, _gone(found, "usage", said("Used"), self.actor.currency))
        return self.show(form=form, found=found, rows=self.with_worth(found.rows))


class Sold(OfDays):
    """The cost of what was sold, and what else was expensed."""

    template = "pages/books_sold.html"

    def of(self, first: date, last: date, form: PeriodForm, kind: str) -> HttpResponse:
        expensed = book_reading.expensed_between(self.actor, first, last)
        if kind and tables.which(self.request) == "expensed":
            columns = [said("Kind"), said("Account"), f"{said('At cost')}, {self.actor.currency}"]
            cells = ((one.kind, account_called(one.name), one.value) for one in expensed)
            return tables.file(kind, tables.Table(f"expensed-{first}-{last}", columns, cells))
        most = tables.MOST_ROWS + 1 if kind else MOST
        found = book_reading.sold_between(self.actor, first, last, limit=most)
        if kind:
            return tables.file(kind, _gone(found, "sold", said("Sold"), self.actor.currency))
        # Sales come first, and are by themselves as much as in the table above.
        sales = [one for one in expensed if one.kind == Account.Kind.SALES]
        rows = self.with_worth(sales) + self.with_worth(expensed[len(sales) :])
        return self.show(
            form=form,
            found=found,
            rows=self.with_worth(found.rows),
            expensed=rows,
            expensed_sum=sum((cost for _, cost in rows), Decimal(0)),
        )


class Variances(OfDays):
    """What batches cost beside their standards."""

    template = "pages/books_variances.html"

    def of(self, first: date, last: date, form: PeriodForm, kind: str) -> HttpResponse:
        rows = comparing.finished_between(self.actor, first, last).order_by("-id")
        if kind and not tables.which(self.request):
            found = comparing.compare(self.actor, rows[: tables.MOST_ROWS + 1])
            return tables.file(kind, _compared(found, self.actor.currency))
        summed = comparing.sum_of(self.actor, rows)
        named = [part for part in PARTS if summed.parts[part]]
        amounts = self.adding_up([summed.parts[part] for part in named])
        parts = [
            (part, PARTS[part], FORMULAS[part], amount)
            for part, amount in zip(named, amounts, strict=True)
        ]
        money = f"{said('Difference')}, {self.actor.currency}"
        rest = [(PARTS[part], summed.parts[part]) for part in named]
        return self.show(
            files={"parts": lambda: side_tables.named("parts", money, rest)},
            form=form,
            first=first,
            last=last,
            batches=comparing.compare(self.actor, rows[:MOST]),
            summed=summed,
            parts=parts,
        )


def _gone(found: Period, name: str, what: str, currency: str) -> tables.Table:
    columns = [said("Material"), what, said("Unit"), f"{said('At cost')}, {currency}"]
    cells = ((one.name, one.quantity, tables.unit_of(one.counted), one.value) for one in found.rows)
    return tables.Table(f"{name}-{found.first}-{found.last}", columns, cells)


def _compared(found: Iterable[Compared], currency: str) -> tables.Table:
    names = [said("Cost"), said("Standard"), said("Difference"), *map(str, PARTS.values())]
    columns = [said("Batch"), said("Formula"), said("Finished on")]
    columns += [f"{name}, {currency}" for name in names]
    cells = []
    for one in found:
        batch, told = one.making.batch, one.variances
        row: list[tables.Cell] = [batch.code, batch.version.formula.name, one.on]
        if told is not None:
            row += [told.actual, told.standard, told.total, *(told.parts[part] for part in PARTS)]
        cells.append(row)
    return tables.Table("variances", columns, cells)
