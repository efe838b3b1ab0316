"""At which position to be warned of a material: a suggestion by a service level, with its working.

It is taken by the form of the material itself, which sets the point.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import NumberField, PageForm, QuantityField
from api.pages.screen import Screen
from api.pages.usage import PATTERNS
from ledger import alerts
from ledger.access import material_for
from ledger.errors import NotFound, Refusal
from ledger.reorder_advice import GivenUse, ReorderAdvice, advise_reorder
from ledger.reordering import LeadTime
from ledger.roles import Verb
from ledger.usage import Pattern

# Of a hundred orders nothing runs out during so many, if nothing else is said.
USUAL_LEVEL: Final = "95"
HUNDRED: Final = Decimal(100)
# A point is no finer than a scale.
CENTIGRAM: Final = Decimal("0.01")
UNSURE: Final = {Pattern.ERRATIC, Pattern.INTERMITTENT, Pattern.LUMPY}


class LevelForm(PageForm):
    """The service level, and what is typed instead of what was measured."""

    called: ClassVar = {"/use/per_day": "per_day", "/use/spread": "spread"}
    service_level_percent = NumberField(
        label=_("Of a hundred orders, nothing is to run out during"),
        help_text=_("From 50 to 99.99, such as 95: the service level"),
    )
    lead_days = NumberField(
        label=_("Days from an order until it may be used"),
        required=False,
        help_text=_("Left empty: as deliveries of two years had it"),
    )
    lead_spread = NumberField(label=_("The spread of these days"), required=False)
    per_day = QuantityField(
        label=_("Used in a day"),
        required=False,
        help_text=_("Left empty: as the last 26 weeks had it"),
    )
    spread = QuantityField(label=_("The spread of that"), required=False)

    def asked(self) -> dict[str, Any]:
        typed, lead, use = self.cleaned_data, None, None
        if typed["lead_days"] is not None:
            lead = LeadTime(typed["lead_days"], typed["lead_spread"] or Decimal(0))
        if typed["per_day"] is not None:
            use = GivenUse(typed["per_day"], typed["spread"])
        level = typed["service_level_percent"] / HUNDRED
        return {"service_level": level, "lead_time": lead, "use": use}


@dataclass(frozen=True, slots=True)
class Worked:
    """A step of the working: a quantity, or days and a bare figure shown to so many `places`."""

    name: str
    value: Decimal
    unit: str
    places: int | None = None


@dataclass(frozen=True, slots=True)
class Suggested:
    """A point as it is taken by a tap: to the grain of a scale, or in whole pieces."""

    point: Decimal
    safety: Decimal


class LowPoint(Screen):
    """The point at which to be warned, worked out anew with each look; nothing is kept here."""

    template = "pages/low_point.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        material = material_for(self.actor, id)
        asked = "service_level_percent" in request.GET
        typed = {name: str(request.GET[name]) for name in request.GET}
        form = LevelForm({"service_level_percent": USUAL_LEVEL, **typed}, reader=self.reader)
        found, why = self._advice(id, form)
        if why is not None and asked:
            form.refuse(why)
        suggested = _suggested(found) if found else None
        measured = found.measured if found else None
        worked = _worked(found) if found else []
        return self.show(
            files={"": lambda: _table(worked)} if worked else None,
            worked=worked,
            material=material,
            form=form,
            found=found,
            why="" if why is None or asked else why.detail,
            point=suggested and self.reader.typed(suggested.point, material.counted),
            safety=suggested and self.reader.typed(suggested.safety, material.counted),
            suggested=suggested,
            pattern=PATTERNS.get(measured.pattern) if measured else None,
            unsure=measured is not None and measured.pattern in UNSURE,
            watch=self._watch(id),
            may_watch=self.actor.may(Verb.WATCH) and material.stocked,
        )

    def _advice(self, id: UUID, form: LevelForm) -> tuple[ReorderAdvice | None, Refusal | None]:
        """The suggestion, or why there is none."""
        if not form.is_valid():
            return None, None
        try:
            return advise_reorder(self.actor, material=id, now=self.now, **form.asked()), None
        except NotFound:
            raise
        except Refusal as refusal:
            return None, refusal

    def _watch(self, id: UUID) -> Any:
        try:
            return alerts.watch_for(self.actor, id)
        except NotFound:
            return None


def _worked(found: ReorderAdvice) -> list[Worked]:
    """The point, step by step."""
    use, days, point = found.use, found.lead_time, found.point
    kept, lead = tables.unit_of(found.material.counted), said("days")
    return [
        Worked(said("Used in a day, in the mean (d)"), use.mean, kept),
        Worked(said("Its spread (s)"), use.spread, kept),
        Worked(said("Days from an order until it may be used (L)"), days.mean, lead, 2),
        Worked(said("Their spread (t)"), days.spread, lead, 2),
        Worked(said("Standard normal quantile of the service level (z)"), point.z, "", 4),
        Worked(said("Used until an order may be used, d L"), point.lead_time_use, kept),
        Worked(said("Its spread, √(L s² + d² t²)"), point.lead_time_spread, kept),
        Worked(said("Safety stock, z √(L s² + d² t²)"), point.safety_stock, kept),
        Worked(said("The point, both together"), point.point, kept),
    ]


def _table(worked: Sequence[Worked]) -> tables.Table:
    rows = ((one.name, one.value, one.unit) for one in worked)
    return tables.Table("when-to-be-warned", [said("Figure"), said("Amount"), said("Unit")], rows)


def _suggested(found: ReorderAdvice) -> Suggested:
    """Pieces are whole, and no fewer than were worked out."""
    point, safety = found.point.point, found.point.safety_stock
    if found.material.counted:
        return Suggested(*(one.to_integral_value(ROUND_CEILING) for one in (point, safety)))
    return Suggested(*(one.quantize(CENTIGRAM, ROUND_HALF_EVEN) for one in (point, safety)))
