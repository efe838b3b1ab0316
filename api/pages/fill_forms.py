"""What is typed when bulk is filled, and when pieces of a fill are weighed."""

import re
from dataclasses import replace
from decimal import Decimal
from typing import Any, ClassVar, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import (
    CelsiusField,
    DensityField,
    GramsField,
    PageForm,
    QuantityField,
    SureField,
    Typed,
    WholeField,
)
from api.pages.saying import in_words
from formulas.drawing import Sample
from formulas.leftovers import Leftover
from formulas.unit_weighings import Weighed
from ledger.errors import Refusal
from ledger.quantities import Density, Quantity, parse_quantity

MOST_WEIGHED: Final = 200
RULES = [
    ("eu", _("three packers' rules (Directive 76/211/EEC)")),
    ("us", _("average and single package (NIST Handbook 133)")),
]


def as_warm(density: Density | None, celsius: Decimal | None) -> Density | None:
    """A density with the temperature that was typed beside it, if one was."""
    if density is None or celsius is None:
        return density
    return replace(density, celsius=celsius)


class FillForm(PageForm):
    product = forms.ChoiceField(label=_("What it is filled into"))
    units = WholeField(
        label=_("Filled pieces"),
        min_value=1,
        max_value=1_000_000,
    )
    used = QuantityField(
        label=_("Bulk that went in"),
        required=False,
        help_text=_("All of it, with what was lost; left empty, what the pieces should hold"),
    )
    density = DensityField(
        label=_("Its density as warm as it is filled"),
        required=False,
        help_text=_("Such as 0.98 g/mL; left empty, that of the bulk"),
    )
    celsius = CelsiusField(
        label=_("How warm it then is, °C"),
        required=False,
        help_text=_("Such as 60; a label's volume is judged at 20"),
    )
    label_version = forms.CharField(
        label=_("Which label they get"),
        required=False,
        max_length=60,
        help_text=_("Its version or date, so that an old one can be found again"),
    )
    samples = WholeField(
        label=_("Of them kept as samples"),
        required=False,
        min_value=1,
        max_value=1_000,
    )
    heel = QuantityField(
        label=_("Left in the filler"),
        required=False,
        help_text=_("Thrown away; the pieces carry its cost"),
    )
    heel_reason = forms.CharField(label=_("Why it was left"), max_length=400, required=False)
    reject = QuantityField(
        label=_("Rejected"), required=False, help_text=_("Such as 120 g or 2 pieces; expensed")
    )
    reject_reason = forms.CharField(label=_("Why it was rejected"), max_length=400, required=False)
    basis = forms.CharField(
        label=_("Release at once, because"),
        max_length=400,
        required=False,
        help_text=_("Left empty, the lot waits in quarantine"),
    )
    deviation = forms.CharField(
        label=_("Reason, if a rule is not kept"), max_length=400, required=False
    )
    # Shown only beside the question whether it is so.
    sure = SureField()
    called: ClassVar = {
        "/heel/quantity": "heel",
        "/heel/reason": "heel_reason",
        "/rejects/0/quantity": "reject",
        "/rejects/0/reason": "reject_reason",
        "/samples/0/quantity": "samples",
        "/release/basis": "basis",
        "/mean_net": "used",
        "/lot": "deviation",
    }

    def __init__(self, *args: Any, products: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["product"].choices = products  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """A density of warm bulk needs its temperature, or it would pass for one at 20 degC."""
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        density = as_warm(typed.get("density"), typed.get("celsius"))
        if density is not None and density.celsius is None and "celsius" not in self.errors:
            self.add_error("celsius", said("Say how warm the bulk is at this density."))
        return typed

    def told(self) -> dict[str, Any]:
        """What was typed, as the verb takes it."""
        typed = self.cleaned_data
        kept, heel, reject = typed["samples"], typed["heel"], typed["reject"]
        retained = [parse_quantity(f"{kept} each")] if kept else []
        return {
            **{name: typed[name] for name in ("product", "units", "used", "deviation")},
            "density": as_warm(typed["density"], typed["celsius"]),
            "label_version": typed["label_version"],
            "samples": [Sample(one, "retained", "retained") for one in retained],
            "heel": Leftover(heel, typed["heel_reason"]) if heel else None,
            "rejects": [Leftover(reject, typed["reject_reason"])] if reject else [],
            "release_basis": typed["basis"] or None,
        }


class WeightsField(Typed):
    """Several weights, one to a line, or apart by semicolons or spaces."""

    widget: Any = forms.Textarea(
        attrs={"rows": 6, "autocomplete": "off", "inputmode": "text", "spellcheck": "false"}
    )

    def __init__(self, **how: Any) -> None:
        forms.CharField.__init__(self, max_length=64 * MOST_WEIGHED, **how)

    def plain(self, typed: str) -> str:
        """As it stands: a space may lie between two weights. Each is read by itself."""
        return typed

    def read(self, typed: str) -> list[Quantity]:
        apart = [part.strip() for part in re.split(r"[\n;]|, ", typed)]
        found = [one for part in apart if part for one in _numbers_or_one(part)]
        if len(found) > MOST_WEIGHED:
            raise ValidationError(said("At most 200 pieces are weighed at a time."))
        weight, weights = GramsField(), []
        for place, text in enumerate(found, 1):
            try:
                weights.append(weight.read(self.reader.plain(text)))
            except Refusal as refusal:
                why = in_words(refusal.detail, self.reader)
                raise ValidationError(f"{place}, {text[:40]}: {why}") from refusal
        return weights


def _numbers_or_one(part: str) -> list[str]:
    """The numbers of a line that has nothing else, or the line with its unit."""
    words = [word for word in re.split(r"[ \t\r]", part) if word]
    return words if all(re.fullmatch(r"[0-9.,\u00a0\u202f]+", word) for word in words) else [part]


class WeighingForm(PageForm):
    weighings = WeightsField(
        label=_("Weights, one to a line"),
        help_text=_("Grams if no unit is named; twelve or more tell how far they spread"),
    )
    tare = GramsField(
        label=_("An empty piece weighs"),
        required=False,
        help_text=_("If the weights are with the container; left empty, they are without it"),
    )
    # Shown only beside the question whether it is so.
    sure = SureField()
    called: ClassVar = {"/density": "weighings"}

    def told(self) -> dict[str, Any]:
        weights, tare = self.cleaned_data["weighings"], self.cleaned_data["tare"]
        weighed = [Weighed(net=one) if tare is None else Weighed(gross=one) for one in weights]
        return {"weighed": weighed, "tare": tare}


class RuleForm(PageForm):
    rule = forms.ChoiceField(label=_("Where it is sold, by its rule"), choices=RULES)
    allowed = QuantityField(
        label=_("A piece may lack"),
        required=False,
        help_text=_("As you read it where you sell; left empty, by the rule's own table"),
    )
    called: ClassVar = {"/allowed_shortage": "allowed"}
