"""What is known of a material: asked for when it is made, and changed on a page of its own."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.doubles import NewNameForm
from api.pages.forms import (
    DayField,
    DensityField,
    MoneyField,
    NumberField,
    PageForm,
    QuantityField,
    Typed,
    WholeField,
)
from api.pages.material_words import (
    BROUGHT,
    CAUTIONS,
    COSTED,
    DECLARED,
    FUNCTIONS,
    MEASURES,
    NOTHING,
    parts,
)
from api.pages.reader import Reader
from api.pages.screen import Screen
from ledger import catalogue
from ledger.access import Actor, material_for, materials_visible_to
from ledger.errors import Unreadable
from ledger.models import Material, MaterialPart
from ledger.models.catalogue import MOST_DAYS_OPEN, USED_AS
from ledger.roles import Verb

# What a row says of the parts of a material, and how long a label may become.
MOST_PARTS, LONGEST_NAME = 100, 200
HUNDRED, FINEST = Decimal(100), -6
# What only one kind of material has.
MOST = {f"{of}_{kind}" for kind in USED_AS for of in ("most", "called")}
OF_MASS, OF_COUNT, UNSTOCKED = {"density"}, {"mass_each"}, {"cost_per_kg", "cost_source"}


class PercentField(NumberField):
    """A percent of at most 100."""

    def read(self, typed: str) -> Decimal:
        percent = super().read(typed)
        if percent > HUNDRED or int(percent.as_tuple().exponent) < FINEST:
            raise Unreadable(said("Write at most 100, with no more than six digits after it."))
        return percent


class PartsField(Typed):
    """Names with their percents, each on a line of its own: "Linalool 0.8"."""

    def __init__(self, **how: Any) -> None:
        told = {"rows": 3, "autocomplete": "off", "spellcheck": "false"}
        super().__init__(widget=forms.Textarea(attrs=told), **how)
        self.max_length, self.validators = None, []

    def plain(self, typed: str) -> str:
        """As it stands, since names have commas too; the percents are read by themselves."""
        return typed

    def read(self, typed: str) -> list[catalogue.PartFacts]:
        lines = [line.split() for line in typed.splitlines() if line.strip()]
        if len(lines) > MOST_PARTS:
            raise Unreadable(said("These are more lines than a material has parts."))
        return [self._part(line) for line in lines]

    def _part(self, words: Sequence[str]) -> catalogue.PartFacts:
        if words[-1] == "%":
            words = words[:-1]
        name, number = " ".join(words[:-1]), words[-1].removesuffix("%") if words else ""
        if not name or len(name) > LONGEST_NAME or "\0" in name:
            raise Unreadable(said("Write a name and its percent on each line: Linalool 0.8"))
        return catalogue.PartFacts(name, PercentField().read(self.reader.plain(number)))


def _called(label: Any) -> forms.CharField:
    """How a certificate calls a kind of product, beside the most that it allows there."""
    return forms.CharField(label=label, max_length=120, required=False)


class FactsForm(PageForm):
    """What can be said of a material, and changed later."""

    inci_name = forms.CharField(
        label=_("INCI name"),
        max_length=LONGEST_NAME,
        required=False,
        help_text=_("What a label calls it, such as Glycerin"),
    )
    cas_number = forms.CharField(
        label=_("CAS number"),
        max_length=20,
        required=False,
        help_text=_("Of the substance, as its safety sheet has it, such as 56-81-5"),
    )
    density = DensityField(
        label=_("Density"),
        required=False,
        help_text=_("Turns gallons into kilograms, such as 1.26 g/mL"),
    )
    mass_each = QuantityField(
        label=_("One piece weighs"), required=False, help_text=_("Such as 32 g")
    )
    cautions = forms.MultipleChoiceField(
        label=_("What asks for care with it"),
        choices=CAUTIONS,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Said once, at the step of the work where it counts"),
    )
    function = forms.ChoiceField(
        label=_("Its work in a formula"), choices=FUNCTIONS, required=False
    )
    min_percent = PercentField(label=_("At least, percent of a formula"), required=False)
    max_percent = PercentField(
        label=_("At most, percent of a formula"),
        required=False,
        help_text=_("By its certificate; a formula that has more is warned of"),
    )
    certificate_category = forms.CharField(
        label=_("For which kind of product"),
        max_length=120,
        required=False,
        help_text=_("As the certificate says it, such as: category 4, leave-on"),
    )
    most_leave_on = PercentField(label=_("At most in what stays on, percent"), required=False)
    called_leave_on = _called(_("What stays on, as the certificate calls it"))
    most_rinse_off = PercentField(label=_("At most in what is rinsed off, percent"), required=False)
    called_rinse_off = _called(_("What is rinsed off, as the certificate calls it"))
    most_eye = PercentField(label=_("At most near the eyes, percent"), required=False)
    called_eye = _called(_("What goes near the eyes, as the certificate calls it"))
    most_lip = PercentField(label=_("At most on the lips, percent"), required=False)
    called_lip = _called(_("What goes on the lips, as the certificate calls it"))
    most_baby = PercentField(
        label=_("At most for babies, percent"),
        required=False,
        help_text=_("By the certificate's own categories; a product is judged by its lowest"),
    )
    called_baby = _called(_("What is for babies, as the certificate calls it"))
    certificate_until = DayField(label=_("The certificate holds until"), required=False)
    shelf_life_days = WholeField(
        label=_("Keeps for how many days"), required=False, min_value=1, max_value=36_500
    )
    use_within_days = WholeField(
        label=_("Good for how many days once it is open"),
        required=False,
        min_value=1,
        max_value=MOST_DAYS_OPEN,
        help_text=_(
            "As its data sheet says; counted from the day on which you open a lot. What is open"
            " already gets these days, too, if there were none before."
        ),
    )
    allergens = PartsField(
        label=_("Allergens in it"),
        required=False,
        help_text=_("One on each line with its percent of it, such as: Linalool 0.8"),
    )
    composition = PartsField(
        label=_("What it is a blend of"),
        required=False,
        help_text=_("For labels: an INCI name and its percent on each line, 100 in all"),
    )
    declared_as = forms.ChoiceField(
        label=_("How a label names it"),
        choices=DECLARED,
        initial="ingredient",
        widget=forms.RadioSelect,
    )
    brings = forms.MultipleChoiceField(
        label=_("What it carries beside its active matter"),
        choices=BROUGHT,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("No tick: nobody knows. It counts when it takes the place of another."),
    )
    cost_formula = forms.ChoiceField(
        label=_("What leaves is costed"), choices=COSTED, required=False
    )
    cost_per_kg = MoneyField(label=_("A kilogram costs"), required=False)
    cost_source = forms.CharField(
        label=_("Says who"), max_length=LONGEST_NAME, required=False, help_text=_("Such as: a bill")
    )

    def maxima(self) -> list[catalogue.MaximumFacts]:
        """What is allowed in each kind of product."""
        typed = ((kind, self.cleaned_data[f"most_{kind}"]) for kind in USED_AS)
        return [
            catalogue.MaximumFacts(kind, most, self.cleaned_data[f"called_{kind}"])
            for kind, most in typed
            if most is not None
        ]

    def clean(self) -> dict[str, Any]:
        """A kind that is named has a maximum."""
        typed = super().clean() or {}
        for kind in USED_AS:
            most = f"most_{kind}"
            if typed.get(f"called_{kind}") and most in typed and typed[most] is None:
                self.add_error(most, said("Write how much of it is allowed there."))
        return typed

    def field_at(self, pointer: str) -> str:
        """A maximum is named by its place among those that were typed."""
        of, place, *_rest = [*pointer.strip("/").split("/"), ""]
        if of == "maxima" and place.isdecimal():
            return f"most_{self.maxima()[int(place)].kind}"
        return super().field_at(pointer)

    def leave_out(self, names: set[str]) -> None:
        """Fields that this material, or this reader, has nothing to do with."""
        for name in names & self.fields.keys():
            del self.fields[name]

    def clean_brings(self) -> str | None:
        ticked = set(self.cleaned_data["brings"])
        if NOTHING in ticked and len(ticked) > 1:
            raise forms.ValidationError(_("It carries something or nothing: take one tick away."))
        return " ".join(sorted(ticked - {NOTHING})) if ticked else None

    def clean_cost_formula(self) -> str | None:
        return self.cleaned_data["cost_formula"] or None

    def clean_allergens(self) -> list[catalogue.PartFacts]:
        return self.cleaned_data["allergens"] or []

    def clean_composition(self) -> list[catalogue.PartFacts]:
        return self.cleaned_data["composition"] or []

    def first(self) -> list[Any]:
        """The fields that most materials need."""
        return self._fields("name", "measured_by", "water", "inci_name", "density", "cautions")

    def more(self) -> list[Any]:
        """The fields that are folded away."""
        seen = {one.name for one in self.first()} | {"sure"}
        return [one for one in self.visible_fields() if one.name not in seen]

    def more_is_wrong(self) -> bool:
        """Whether what is folded away has to be looked at."""
        return any(one.errors for one in self.more())

    def _fields(self, *names: str) -> list[Any]:
        return [self[name] for name in names if name in self.fields]


class NewMaterialForm(FactsForm, NewNameForm):
    name = forms.CharField(label=_("Name"), max_length=LONGEST_NAME)
    measured_by = forms.ChoiceField(
        label=_("It is used"), choices=MEASURES, initial="mass", widget=forms.RadioSelect
    )
    water = forms.BooleanField(
        label=_("It comes from the tap and is never stocked"), required=False
    )
    cost_class = forms.CharField(
        label=_("Its class"),
        max_length=60,
        initial="material",
        required=False,
        help_text=_("What is of one class is costed in one way; it cannot be changed later"),
    )

    def facts(self) -> catalogue.MaterialFacts:
        typed = dict(self.cleaned_data)
        del typed["sure"]
        typed["cost_class"] = typed["cost_class"] or "material"
        facts = {name: value for name, value in typed.items() if name not in MOST}
        stocked = not facts.pop("water")
        return catalogue.MaterialFacts(stocked=stocked, maxima=self.maxima(), **facts)


class NewMaterial(Screen):
    """A material that all makers of the co-op will find."""

    template = "pages/material_new.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.EDIT_CATALOGUE)
        return self.show(form=self._form())

    def post(self, request: HttpRequest) -> HttpResponse:
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: self._add(form),
            lambda made: f"/materials/{made.id}",
            lambda: self.show(form=form, status=422),
        )

    def _form(self, data: Any = None) -> NewMaterialForm:
        form = NewMaterialForm(data, reader=self.reader, initial={"name": self.sought})
        if not self.actor.may(Verb.SEE_COSTS):
            form.leave_out(UNSTOCKED)
        return form

    def _add(self, form: NewMaterialForm) -> Material:
        self.actor.must(Verb.EDIT_CATALOGUE)
        form.ask_once(materials_visible_to(self.actor))
        return catalogue.add_material(self.actor, form.facts())


class ChangeForm(FactsForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    name = forms.CharField(label=_("Name"), max_length=LONGEST_NAME)

    def changed(self) -> dict[str, Any]:
        """The facts that are others than they were."""
        names = {*self.changed_data} - {"version"}
        facts = {name: self.cleaned_data[name] for name in names - MOST}
        if names & MOST:
            facts["maxima"] = self.maxima()
        return facts


class ChangeMaterial(Screen):
    """What is known of a material, to be put right; what was weighed and costed stays as it was."""

    template = "pages/material_facts.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        material = material_for(self.actor, id)
        self.actor.must(Verb.EDIT_CATALOGUE)
        return self.show(material=material, form=self._form(material))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        material = material_for(self.actor, id)
        form = self._form(material, request.POST)
        return self.act(
            form,
            lambda: catalogue.change_material(
                self.actor,
                material=id,
                version=form.cleaned_data["version"],
                facts=form.changed(),
            ),
            lambda changed: f"/materials/{id}",
            lambda: self.show(material=material, form=form, status=422),
        )

    def _form(self, material: Material, data: Any = None) -> ChangeForm:
        form = ChangeForm(data, reader=self.reader, initial=as_typed(material, self.reader))
        form.leave_out(OF_MASS if material.counted else OF_COUNT)
        if material.counted:
            form.leave_out({"allergens", "composition"})
        if material.counted or not material.stocked:
            form.leave_out({"use_within_days"})
        if material.stocked or not self.actor.may(Verb.SEE_COSTS):
            form.leave_out(UNSTOCKED)
        if material.maker_id is None and not self.actor.may(Verb.CHANGE_DENSITY):
            form.leave_out(OF_MASS)
        return form


def as_typed(material: Material, reader: Reader) -> dict[str, Any]:
    """What is known of a material, as its form would have been filled in."""
    brings = material.brings
    each, cost = material.mass_each, material.cost_per_kg
    return {
        **{name: getattr(material, name) for name in ("version", "name", "inci_name")},
        **{name: getattr(material, name) for name in ("cas_number", "function", "cautions")},
        **{name: getattr(material, name) for name in ("declared_as", "shelf_life_days")},
        "use_within_days": material.use_within_days,
        **{name: getattr(material, name) for name in ("certificate_category", "certificate_until")},
        "density": reader.entered(material.density_entered),
        "mass_each": "" if each is None else reader.typed(each),
        "min_percent": reader.figure(material.min_percent),
        "max_percent": reader.figure(material.max_percent),
        **{f"most_{one.kind}": reader.figure(one.max_percent) for one in material.maxima.all()},
        **{f"called_{one.kind}": one.category for one in material.maxima.all()},
        "allergens": _lines(material, MaterialPart.Kind.ALLERGEN, reader),
        "composition": _lines(material, MaterialPart.Kind.PART, reader),
        "brings": [] if brings is None else brings.split() or [NOTHING],
        "cost_formula": material.cost_formula or "",
        "cost_per_kg": reader.figure(cost),
        "cost_source": material.cost_source,
    }


def _lines(material: Material, kind: str, reader: Reader) -> str:
    return "\n".join(
        f"{one.inci_name} {reader.figure(one.percent)}" for one in parts(material, kind)
    )


def may_change(actor: Actor, material: Material) -> bool:
    """Whether the role may put right what is known; what is made belongs to a formula."""
    own = material.maker_id is not None
    return actor.may(Verb.EDIT_CATALOGUE) and (not own or actor.may(Verb.FORMULATE))
