"""What a formula asks of whoever makes it: what to measure, how it steeps, when it is filled."""

from collections.abc import Iterable
from typing import Any, ClassVar, Final

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from api.pages.forms import NumberField, PageForm, Typed, WholeField
from api.pages.reader import Reader
from api.separators import NUMBER
from formulas.infusing import Infusion
from formulas.judging import UNIT, Measure, Window, read_window
from formulas.measurements import windows_of
from formulas.models import FormulaVersion
from formulas.recipes import infusion_of
from formulas.writing import Asks
from ledger.errors import Refusal

# What is measured by a number, with the unit that a bare figure has.
MEASURED: Final[list[tuple[Measure, Promise]]] = [
    (Measure.PH, _("pH")),
    (Measure.TEMPERATURE, _("Temperature, °C")),
    (Measure.VISCOSITY, _("Viscosity, mPa.s")),
    (Measure.FLOW_TIME, _("Flow time, s")),
]
LIMITS: Final[list[tuple[str, Promise]]] = [
    ("low", _("at least")),
    ("target", _("best")),
    ("high", _("at most")),
]


class LimitField(Typed):
    """A limit as people write it; a bare figure has the unit of what is measured."""

    widget = forms.TextInput(attrs={"autocomplete": "off", "inputmode": "decimal"})

    def __init__(self, *, measure: Measure, **how: Any) -> None:
        super().__init__(required=False, **how)
        self.measure = measure

    def read(self, typed: str) -> str:
        """What is read by the formula itself, once all of a window is known."""
        bare = NUMBER.fullmatch(typed.removeprefix("-"))
        return f"{typed} {UNIT[self.measure]}".rstrip() if bare else typed


class AsksForm(PageForm):
    """The asks of a formula; all of them may be left empty."""

    fill_within_days = WholeField(
        label=_("To be filled within days"),
        required=False,
        min_value=1,
        help_text=_("Of making it; bulk that is older is filled for a reason only"),
    )
    retention = NumberField(
        label=_("A gram of what is strained out keeps, g"),
        required=False,
        help_text=_("Only of an infusion: often 1 to 2 g of liquid; better measured"),
    )
    evaporation_percent = NumberField(
        label=_("Evaporates, percent of all that goes in"), required=False
    )
    appearance = forms.CharField(label=_("How it looks"), required=False, max_length=200)
    called: ClassVar = {
        "/infusion": "retention",
        "/infusion/retention": "retention",
        "/infusion/evaporation_percent": "evaporation_percent",
    }

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        for measure, _name in MEASURED:
            for limit, label in LIMITS:
                field = LimitField(measure=measure, label=label)
                field.reader = self.reader
                self.fields[f"{measure.value}_{limit}"] = field

    def measures(self) -> Iterable[tuple[Promise, list[Any]]]:
        """Each measure with its fields, for the page."""
        for measure, name in MEASURED:
            yield name, [self[f"{measure.value}_{limit}"] for limit, _label in LIMITS]

    def is_used(self) -> bool:
        """Whether anything stands in it, so that it is not folded away."""
        return any(self[name].value() for name in self.fields) or bool(self.errors)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        typed["windows"] = windows = []
        for measure, _name in MEASURED:
            limits = {limit: typed.get(f"{measure.value}_{limit}") for limit, _label in LIMITS}
            if any(limits.values()):
                windows += self._window(measure, limits)
        if typed.get("appearance"):
            windows += self._window(Measure.APPEARANCE, {"target": typed["appearance"]})
        if typed.get("evaporation_percent") is not None and typed.get("retention") is None:
            self.add_error("retention", _("What does a gram of it keep?"))
        return typed

    def _window(self, measure: Measure, limits: dict[str, Any]) -> list[Window]:
        """The window, or nothing where it is refused at its field."""
        try:
            return [read_window(measure, **limits)]
        except Refusal as refusal:
            limit = refusal.pointer.strip("/") or "target"
            name = "appearance" if measure is Measure.APPEARANCE else f"{measure.value}_{limit}"
            self.add_error(name, refusal.detail)
            return []

    def asks(self) -> Asks:
        """What the valid form says."""
        typed = self.cleaned_data
        return Asks(typed["windows"], self.infusion(), typed["fill_within_days"])

    def infusion(self) -> Infusion | None:
        """How it steeps, as far as that can be read."""
        retention = self.cleaned_data.get("retention")
        if retention is None:
            return None
        return Infusion(retention, self.cleaned_data.get("evaporation_percent") or retention * 0)


def asks_as_typed(version: FormulaVersion, reader: Reader) -> dict[str, str]:
    """The asks of a version as their form would have been filled in."""
    typed = {"fill_within_days": str(version.fill_within_days or "")}
    infusion = infusion_of(version)
    if infusion is not None:
        typed["retention"] = reader.figure(infusion.retention)
        typed["evaporation_percent"] = reader.figure(infusion.evaporation_percent)
    for measure, window in windows_of(version).items():
        if measure is Measure.APPEARANCE:
            typed["appearance"] = window.text
        else:
            for limit, _label in LIMITS:
                typed[f"{measure.value}_{limit}"] = reader.figure(getattr(window, limit))
    return typed
