"""What can be said of a material, in the words of the pages."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from ledger.models import Material, MaterialMaximum, MaterialPart

MEASURES = [("mass", _("by weight")), ("count", _("by the piece"))]
CAUTIONS: Final[list[tuple[str, Promise]]] = [
    ("lye", _("Lye: it burns eyes and skin")),
    ("powder", _("A fine powder: not to be breathed in")),
    ("solvent", _("A solvent that catches fire")),
    ("water", _("Water, or much water in it")),
    ("preservative", _("A preservative")),
    ("fragrance", _("A fragrance")),
    ("essential_oil", _("An essential oil")),
    ("botanical", _("A plant, or an extract of one")),
    ("nut", _("From nuts")),
    ("milk", _("From milk")),
    ("wheat", _("From wheat")),
]
FUNCTIONS: Final[list[tuple[str, Promise | str]]] = [
    ("", _("not said")),
    ("acid", _("acid")),
    ("base", _("base")),
    ("botanical", _("plant matter")),
    ("chelant", _("binds metals")),
    ("emollient", _("emollient")),
    ("emulsifier", _("emulsifier")),
    ("fragrance", _("scent")),
    ("humectant", _("keeps moist")),
    ("preservative", _("preservative")),
    ("solvent", _("solvent")),
    ("surfactant", _("surfactant")),
    ("thickener", _("thickener")),
    ("other", _("something else")),
]
USES: Final[list[tuple[str, Promise]]] = [
    ("leave_on", _("in what stays on")),
    ("rinse_off", _("in what is rinsed off")),
    ("eye", _("near the eyes")),
    ("lip", _("on the lips")),
    ("baby", _("for babies")),
]
NOTHING: Final = "nothing"
BROUGHT: Final = [
    ("allergens", _("allergens")),
    ("preservative", _("a preservative")),
    ("salts", _("salts")),
    (NOTHING, _("nothing of these")),
]
DECLARED = [
    ("ingredient", _("as an ingredient, by its share")),
    ("colourant", _("last, as a colourant")),
    ("absent", _("not at all: it does not stay in the product")),
]
COSTED = [
    ("", _("as all of its class")),
    ("lot", _("each lot by its own cost")),
    ("fifo", _("what came first goes first")),
    ("average", _("by the average of what is there")),
]


def parts(material: Material, kind: str) -> list[MaterialPart]:
    """What a material is made of, or its allergens, in their order."""
    rows = [one for one in material.parts.all() if one.kind == kind]
    return sorted(rows, key=lambda one: one.position)


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a material, in words, for its page."""

    cautions: list[Promise]
    function: Promise | str
    allergens: list[MaterialPart]
    composition: list[MaterialPart]
    maxima: "list[tuple[Promise, Decimal, str]]"


def known_of(material: Material) -> Known:
    """What the material's page says beside its figures."""
    kinds = MaterialPart.Kind
    return Known(
        [words for name, words in CAUTIONS if name in material.cautions],
        dict(FUNCTIONS)[material.function] if material.function else "",
        parts(material, kinds.ALLERGEN),
        parts(material, kinds.PART),
        [(words, most.max_percent, most.category) for words, most in _maxima(material)],
    )


def _maxima(material: Material) -> list[tuple[Promise, MaterialMaximum]]:
    stated = {one.kind: one for one in material.maxima.all()}
    return [(words, stated[kind]) for kind, words in USES if kind in stated]
