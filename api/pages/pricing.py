"""The price of a product: from margin or markup, for several kinds of buyers, on what it costs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import plots, side_tables, tables
from api.pages.forms import MoneyField, NumberField, PageForm, Rows, WholeField
from api.pages.on_paper import on_paper
from api.pages.price_workings import piece, told_even, told_price
from api.pages.saying import in_words
from api.pages.screen import Screen
from api.pages.workings import Line
from formulas import prices, unit_costs
from formulas.access import product_for
from formulas.caution_facts import of_costed, of_use
from formulas.errors import BelowCost, CostUnknown
from formulas.ladder import Channel, Ending, Including
from formulas.models import Product
from formulas.price_curves import Curve, curves_of
from formulas.prices import Cost, CostFrom, Fixed, Ladder, Rung
from formulas.unit_costs import UnitCost
from ledger.errors import DensityMissing, Refusal

ZERO: Final = Decimal(0)
WAYS = [
    ("margin_percent", _("margin, percent of the price")),
    ("markup_percent", _("markup, percent on the cost")),
    ("price", _("this price, as the list shows it")),
]
# Two kinds of buyers to begin with, and room for a third.
FIRST: Final = {
    "channels": "3",
    "channels-0-name": _("Wholesale"),
    "channels-0-figure": "40",
    "channels-1-name": _("Retail"),
    "channels-1-figure": "60",
}
# Of the prices that are drawn, every so many-th stands in the table.
EVERY: Final = 4
SHOWN = [("gross", _("with tax")), ("net", _("without tax"))]


class ChannelForm(PageForm):
    called: ClassVar = {
        "/margin_percent": "figure",
        "/markup_percent": "figure",
        "/price": "figure",
        "/ending": "every",
    }

    name = forms.CharField(label=_("Sold by"), max_length=60)
    way = forms.ChoiceField(label=_("Its price comes from a"), choices=WAYS)
    figure = NumberField(label=_("of"))
    fee_percent = NumberField(
        label=_("The shop or card takes, percent"),
        required=False,
        help_text=_("Of the price without tax"),
    )
    fixed_fee = MoneyField(label=_("and for each piece"), required=False)
    tax_percent = NumberField(
        label=_("Tax, percent"), required=False, help_text=_("Paid on top by the buyer")
    )
    shown = forms.ChoiceField(
        label=_("The list shows it"), choices=SHOWN, initial="gross", required=False
    )
    every = MoneyField(
        label=_("Prices in steps of"), required=False, help_text=_("Such as 1 or 0.05")
    )
    ends_in = MoneyField(
        label=_("that end in"), required=False, help_text=_("0.95 makes 19.95 of 19.20")
    )

    def channel(self) -> Channel:
        """What was typed, as the ladder takes it."""
        typed = self.cleaned_data
        ending = Ending(typed["every"], typed["ends_in"] or ZERO) if typed["every"] else None
        return Channel(
            name=typed["name"],
            fee_percent=typed["fee_percent"] or ZERO,
            fixed_fee=typed["fixed_fee"] or ZERO,
            tax_percent=typed["tax_percent"] or ZERO,
            shown=Including(typed["shown"] or "gross"),
            ending=ending,
            **{typed["way"]: typed["figure"]},
        )

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("ends_in") and not typed.get("every"):
            self.add_error("every", said("Say in which steps prices go."))
        return typed


class CostForm(PageForm):
    cost_from = forms.ChoiceField(label=_("Built on"))
    fixed = MoneyField(
        label=_("To be paid whatever is sold"),
        required=False,
        help_text=_("Rent and the like of a month or a year: how many pieces pay for it?"),
    )
    batch_units = WholeField(
        label=_("Pieces of a batch"),
        required=False,
        min_value=1,
        max_value=1_000_000,
        help_text=_("To say in how many batches those pieces are made"),
    )
    confirm = forms.BooleanField(label=_("Show prices below cost, too"), required=False)

    def __init__(self, *args: Any, costs: Mapping[CostFrom, Decimal], **how: Any) -> None:
        super().__init__(*args, **how)
        named = {CostFrom.PRESENT: said("today's costs"), CostFrom.LAST: said("the last batch")}
        self.fields["cost_from"].choices = [  # type: ignore[attr-defined]
            (source.value, f"{named[source]}: {self.reader.money(cost)}")
            for source, cost in costs.items()
        ]


def _filled(form: PageForm) -> bool:
    return "figure" not in form.fields or form["figure"].value() not in (None, "")


class Price(Screen):
    """What a piece costs, and the ladder of its prices; nothing is kept, the address has it all."""

    template = "pages/price.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        try:
            cost = unit_costs.unit_cost_of(self.actor, product=id)
        except (CostUnknown, DensityMissing) as refusal:
            missing = in_words(refusal.detail, self.reader)
            product = product_for(self.actor, id)
            return self.show(product=product, missing=missing, cautions=of_use(product))
        costs = _costs(cost)
        asked = "channels" in request.GET
        first = {"batch_units": cost.units}
        typed = request.GET if asked else None
        form = CostForm(typed, reader=self.reader, costs=costs, initial=first)
        data: Any = request.GET if asked else FIRST
        rows = Rows(ChannelForm, "channels", data, reader=self.reader, judged=asked)
        found = None
        if asked and all([form.is_valid(), rows.is_valid()]):
            found = self._found(id, form, rows, costs)
        kind = tables.asked(request)
        if kind and found is not None and not tables.which(request):
            return tables.file(kind, _table(found, self.actor.currency))
        wrong = bool(form.errors) or any(row.is_bound and row.errors for row in rows.forms)
        currency = self.actor.currency
        return self.show(
            files={
                "piece": lambda: side_tables.piece(cost, currency),
                "batch": lambda: side_tables.batch_cost(cost, currency),
                **({"margins": lambda: _margins(found.curves, currency)} if found else {}),
            },
            product=cost.product,
            cautions=of_costed(cost),
            cost=cost,
            told=piece(cost, self.reader),
            unpaid=_unpaid(cost.product),
            form=form,
            rows=rows,
            # A row that is still empty has a way and no figure.
            typed=[on_paper(one) for one in (*rows.forms, form) if _filled(one)],
            found=found,
            asks_to_confirm=asked and bool(form["confirm"].value() or (wrong and found is None)),
            status=422 if wrong else 200,
        )

    def _found(
        self, id: UUID, form: CostForm, rows: Rows, costs: Mapping[CostFrom, Decimal]
    ) -> "Found | None":
        """The ladder that was asked for; None where it was refused."""
        typed = form.cleaned_data
        channels = [one.channel() for one in rows.filled if isinstance(one, ChannelForm)]
        cost = costs[CostFrom(typed["cost_from"])]
        typed_fixed, units = typed["fixed"], typed["batch_units"]
        fixed = None if typed_fixed is None else Fixed(typed_fixed, batch_units=units)
        try:
            ladder = prices.price_ladder(
                self.actor,
                product=id,
                channels=channels,
                cost=Cost(given=cost),
                fixed=fixed,
                confirm_below_cost=typed["confirm"],
            )
        except BelowCost as refusal:
            refusal.detail = said(
                "%(name)s would bring in less than the piece costs. Raise the price, or tick that"
                " prices below cost are to be shown."
            ) % {"name": refusal.facts["name"]}
            rows.refuse(refusal)
            return None
        except Refusal as refusal:
            if not rows.refuse(refusal):
                form.refuse(refusal)
            return None
        priced = [one.priced for one in ladder.rungs]
        curves = curves_of(list(zip(channels, priced, strict=True)), cost)
        told = [
            told_price(channel, one, self.reader)
            for channel, one in zip(channels, priced, strict=True)
        ]
        evens = [
            line
            for channel, rung, curve in zip(channels, ladder.rungs, curves, strict=True)
            for line in told_even(channel, rung, curve, fixed, self.reader)
        ]
        plot = _plot(curves, self.actor.currency, self.reader.numbers)
        return Found(ladder, curves, told, evens, plot)


@dataclass(frozen=True, slots=True)
class Found:
    """A ladder with its curves, and their plot."""

    ladder: Ladder
    curves: Sequence[Curve]
    told: Sequence[Line]
    evens: Sequence[Line]
    plot: SafeString

    @property
    def rungs(self) -> list[tuple[Rung, Curve]]:
        return list(zip(self.ladder.rungs, self.curves, strict=True))

    @property
    def margins(self) -> list[tuple[Decimal, ...]]:
        """Some of the prices that are drawn, each with the margins of all channels."""
        points = zip(*(one.points for one in self.curves), strict=True)
        return [(at[0][0], *(margin for _, margin in at)) for at in list(points)[::EVERY]]

    @property
    def taxed(self) -> bool:
        return any(one.priced.listed.tax for one in self.ladder.rungs)


def _unpaid(product: Product) -> bool:
    """Whether there is work that costs nothing."""
    return bool(product.minutes_per_unit or product.minutes_per_batch) and not product.hourly_rate


def _costs(cost: UnitCost) -> dict[CostFrom, Decimal]:
    """The costs of a piece that a price may be built on."""
    found = {CostFrom.PRESENT: cost.cost.per_unit or ZERO}
    if cost.last:
        found[CostFrom.LAST] = cost.last[0].per_unit
    return found


def _plot(curves: Sequence[Curve], currency: str, numbers: str) -> SafeString:
    """Margin against price, with the price on each list and, hollow, the one that leaves none."""
    series = [plots.Series(one.name, one.points) for one in curves]
    marks = [plots.Mark(place, *one.listed) for place, one in enumerate(curves)]
    marks += [
        plots.Mark(place, one.even, ZERO, hollow=True)
        for place, one in enumerate(curves)
        if one.even is not None
    ]
    x, y = f"{said('price without tax')}, {currency}", said("margin, %")
    title = said("Margin against price")
    return plots.curves(title, series, marks, x=x, y=y, numbers=numbers)


def _margins(curves: Sequence[Curve], currency: str) -> tables.Table:
    """What is drawn, as figures: the margin of each channel at the same prices."""
    columns = [f"{said('Without tax')}, {currency}", *(f"{one.name}, %" for one in curves)]
    prices = [net for net, _ in curves[0].points] if curves else []
    left = [[margin for _, margin in one.points] for one in curves]
    return tables.Table("margins", columns, list(zip(prices, *left, strict=True)))


def _table(found: Found, currency: str) -> tables.Table:
    names = [said("Without tax"), said("Tax"), said("With tax"), said("Fees"), said("Left")]
    names += [said("Breaks even at")]
    columns = [said("Sold by"), *(f"{name}, {currency}" for name in names)]
    columns += [said("Margin, %"), said("Markup, %"), said("Pieces that pay what is fixed")]
    columns += [said("Batches of them")]
    cells = []
    for rung, curve in found.rungs:
        listed = rung.priced.listed
        even = rung.break_even
        pays = (even.whole_units, even.batches) if even else (None, None)
        cells.append(
            (
                *(rung.priced.name, listed.net, listed.tax, listed.gross, listed.fees),
                *(listed.left, curve.even, listed.margin_percent, listed.markup_percent, *pays),
            )
        )
    return tables.Table("prices", columns, cells)
