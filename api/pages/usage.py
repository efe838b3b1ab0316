"""How a material was used week by week, what that leads to expect, and how much to order at a time.

A forecast is never taken for a need."""

from datetime import timedelta
from decimal import Decimal
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import MoneyField, NumberField, PageForm
from api.pages.screen import Screen
from api.pages.words import worded
from api.pages.workings import Line
from ledger.errors import Refusal, Unreadable
from ledger.money import round_to_step
from ledger.order_sizes import OrderSizes, order_sizes
from ledger.quantities import kept_in
from ledger.reordering import quantile
from ledger.roles import Verb
from ledger.usage import Forecast, Pattern, Usage, describe, fading, forecast
from ledger.usage_reading import UsageRead, by_first_day, read_usage

# As the API has them where nothing is said.
WEEKS, AHEAD, PERCENT = 26, 4, 80
LAST_OF_WEEK = timedelta(days=6)
ZERO, STEP = Decimal(0), Decimal("0.01")
LEAST_KEEPING, MOST_KEEPING = Decimal("0.01"), 1000
PATTERNS = {
    Pattern.SMOOTH: _("often and evenly"),
    Pattern.ERRATIC: _("often, and now more, now less"),
    Pattern.INTERMITTENT: _("now and then, about as much each time"),
    Pattern.LUMPY: _("now and then, and now more, now less"),
}


class KeepingField(NumberField):
    """A percent of a price that it costs to keep goods for a year."""

    def read(self, typed: str) -> Decimal:
        percent = super().read(typed)
        if percent < LEAST_KEEPING:
            raise Unreadable(said("Write a percent above zero, such as 20."))
        if percent > MOST_KEEPING:
            raise Unreadable(said("Write 1000 percent at most; what is usual is 20 or so."))
        return percent


class SizeForm(PageForm):
    per_order = MoneyField(
        label=_("What an order costs beside its goods"), help_text=_("Freight, and your own work")
    )
    keeping_percent = KeepingField(
        label=_("What keeping costs in a year"), help_text=_("Percent of the price, such as 20")
    )


class MaterialUsage(Screen):
    """Half a year of weeks, and a forecast of four with its interval and how often it was right."""

    template = "pages/usage.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        read = read_usage(self.actor, material=id, period="week", periods=WEEKS, now=self.now)
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, _table(read))
        form = SizeForm(request.GET if "per_order" in request.GET else None, reader=self.reader)
        found = describe(read.series)
        level = Decimal(PERCENT) / 100
        expected = forecast(read.series, ahead=AHEAD, level=level)
        return self.show(
            material=read.material,
            used=found,
            pattern=PATTERNS.get(found.pattern),
            weeks=[
                (first, first + LAST_OF_WEEK, quantity)
                for first, quantity in by_first_day(read)[::-1]
            ],
            ahead=AHEAD,
            percent=PERCENT,
            form=form,
            sizes=self._sizes(id, form),
            may_size=self.actor.may(Verb.SEE_OFFERS),
            expected=expected,
            expected_told=self._told(read, found, expected),
        )

    def _told(self, read: UsageRead, found: Usage, expected: Forecast) -> list[Line]:
        """How what is expected came about, and what it lies between."""
        unit, number = kept_in(read.material.counted), self.reader.number
        called = worded(unit)
        low, whole, high = (
            round_to_step(one, STEP) for one in (expected.low, expected.expected, expected.high)
        )
        if found.pattern in (Pattern.INTERMITTENT, Pattern.LUMPY):
            size, chance, each = fading(read.series)
            name = said("In a week: what is used at a time, and how often it is")
            about = f"{number(size, 4)} {called} · {number(chance, 4)}"
        else:
            each, name = found.mean, said("In a week: all that was used, by the weeks")
            about = f"{number(sum(read.series, ZERO))} {called} ÷ {number(found.periods)}"
        z = number(quantile((1 + expected.level) / 2), 4)
        reach = f"{z} · {number(found.spread, 4)} {called} · √{AHEAD}"
        middle = Line(said("what is expected"), whole, unit)
        less = Line(said("less, and never below nothing"), low - whole, unit, how=reach)
        more = Line(said("and more"), high - whole, unit, how=reach)
        return [
            Line(name, round_to_step(each, STEP), unit, how=about),
            Line(said("Expected"), whole, unit, how=f"{AHEAD} · {number(each, 4)} {called}"),
            Line(said("Likely at least"), low, unit, parts=(middle, less)),
            Line(said("Likely at most"), high, unit, parts=(middle, more)),
        ]

    def _sizes(self, id: UUID, form: SizeForm) -> OrderSizes | None:
        """How much to order at a time, if that is asked and can be told."""
        if not form.is_bound or not form.is_valid():
            return None
        try:
            return order_sizes(self.actor, material=id, now=self.now, **form.cleaned_data)
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
            return None


def _table(read: UsageRead) -> tables.Table:
    columns = [said("Week from"), f"{said('Used')}, {tables.unit_of(read.material.counted)}"]
    return tables.Table("usage", columns, by_first_day(read))
