"""How a material was used week by week, and what that leads to expect: never taken for a need."""

from decimal import Decimal
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.screen import Screen
from ledger.usage import Pattern, describe, forecast
from ledger.usage_reading import UsageRead, by_first_day, read_usage

# As the API has them where nothing is said.
WEEKS, AHEAD, PERCENT = 26, 4, 80
PATTERNS = {
    Pattern.SMOOTH: _("often and evenly"),
    Pattern.ERRATIC: _("often, and now more, now less"),
    Pattern.INTERMITTENT: _("now and then, about as much each time"),
    Pattern.LUMPY: _("now and then, and now more, now less"),
}


class MaterialUsage(Screen):
    """Half a year of weeks, and a forecast of four with its interval and how often it was right."""

    template = "pages/usage.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        read = read_usage(self.actor, material=id, period="week", periods=WEEKS, now=self.now)
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, _table(read))
        found = describe(read.series)
        level = Decimal(PERCENT) / 100
        return self.show(
            material=read.material,
            used=found,
            pattern=PATTERNS.get(found.pattern),
            weeks=by_first_day(read)[::-1],
            ahead=AHEAD,
            percent=PERCENT,
            expected=forecast(read.series, ahead=AHEAD, level=level),
        )


def _table(read: UsageRead) -> tables.Table:
    columns = [said("Week from"), f"{said('Used')}, {tables.unit_of(read.material.counted)}"]
    return tables.Table("usage", columns, by_first_day(read))
