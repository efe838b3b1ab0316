"""The few short cautions that belong to a step of the work, each once, with its reason.

Pure functions on plain facts. They decide nothing and assess nothing: each says what to look at,
why, and whom to ask. What they know of an ingredient is what its catalogue entry says of it.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Final

from formulas.allowed import SCENTS, Flag, Part, for_kinds, limits
from ledger.errors import Sentence

ASSESSOR: Final = "Ask a qualified safety assessor before relying on this."
AUTHORITY: Final = "Rules differ by place; check your local authority."
SUPPLIER: Final = "Ask the supplier for the safety data sheet."
CERTIFICATE: Final = "Ask the supplier for the current certificate, and a safety assessor."
CHALLENGE: Final = (
    "Needs a challenge test (such as ISO 11930); this record cannot show that it is preserved."
)
# Above this, common practice has it, a splash burns and a fill by volume is off.
HOT: Final = Decimal(60)
_CLAIMS: Final = {
    *("heal", "heals", "healing", "cure", "cures", "sunscreen", "bacterial", "antibacterial"),
    *("antifungal", "antiseptic", "medicated"),
}


class Step(StrEnum):
    """Where in the work a caution is shown."""

    FORMULA = "formula"
    PLAN = "plan"
    WEIGH = "weigh"
    MEASURE = "measure"
    FINISH = "finish"
    FILL = "fill"
    PRODUCT = "product"


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known at a step; what is not known is left out.

    `parts` are of the formula, or what is weighed just now; `whole` is all that is in the pot;
    `label_function` is what a label says a product is for.
    """

    parts: Sequence[Part] = ()
    whole: Sequence[Part] = ()
    product_name: str = ""
    label_function: str = ""
    use: str = ""
    areas: Sequence[str] = ()
    day: date | None = None
    celsius: Decimal | None = None
    ph_outside: str = ""
    outside: Sequence[str] = ()
    undated_lots: Sequence[str] = ()
    additions: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: what to do, why, whom to ask, and what it is about."""

    code: str
    text: str
    reason: str
    ask: str
    about: tuple[str, ...] = ()


def cautions(step: Step, facts: Facts) -> tuple[Caution, ...]:
    """The cautions of a step, each once, whatever the number of things that it is about."""
    found = []
    for rule in _RULES:
        about = rule.finds(facts) if step in rule.steps else ()
        if about:
            found.append(Caution(rule.code, rule.text, rule.reason, rule.ask, tuple(about)))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Rule:
    code: str
    steps: tuple[Step, ...]
    finds: Callable[[Facts], Sequence[str]]
    text: str
    reason: str
    ask: str


def _flagged(*flags: Flag) -> Callable[[Facts], Sequence[str]]:
    return lambda facts: _names(part for part in facts.parts if part.flags & set(flags))


def _names(parts: Iterable[Part]) -> list[str]:
    return list(dict.fromkeys(part.name for part in parts))


def _unpreserved(facts: Facts) -> Sequence[str]:
    parts = facts.whole or facts.parts
    if any(Flag.PRESERVATIVE in part.flags for part in parts):
        return ()
    return _names(part for part in parts if Flag.WATER in part.flags)


def _preservative_outside(facts: Facts) -> Sequence[str]:
    return _names(
        part for part in facts.parts if Flag.PRESERVATIVE in part.flags and _outside(part)
    )


def _preservative_as_weighed(facts: Facts) -> Sequence[str]:
    return [
        Sentence(
            "{name}: {percent:f} %, at least {least:f} %"
            if part.min_percent is not None and part.percent < part.min_percent
            else "{name}: {percent:f} %, at most {most:f} %",
            name=part.name,
            percent=_four_places(part.percent),
            least=_four_places(part.min_percent),
            most=_four_places(part.max_percent),
        )
        for part in facts.whole
        if Flag.PRESERVATIVE in part.flags and _outside(part)
    ]


def _four_places(percent: Decimal | None) -> Decimal:
    """As precisely as a share in the pot is told."""
    return round(percent or Decimal(0), 4).normalize()


def _outside(part: Part) -> bool:
    low, high = part.min_percent, part.max_percent
    return (low is not None and part.percent < low) or (high is not None and part.percent > high)


def _scented(facts: Facts) -> list[Part]:
    return [part for part in facts.whole or facts.parts if part.flags & SCENTS]


def _kinds(facts: Facts) -> set[str]:
    """How and where the product is used; none where that is not known."""
    return {facts.use, *facts.areas} - {""}


def _above_certificate(facts: Facts) -> Sequence[str]:
    return [
        Sentence(
            "{name}: {percent:f} %, at most {most:f} % for {category}"
            if most.called
            else "{name}: {percent:f} %, at most {most:f} %",
            name=part.name,
            percent=_four_places(part.percent),
            most=most.max_percent.normalize(),
            category=most.called,
        )
        for part in _scented(facts)
        for most in limits(part, _kinds(facts))
        if part.percent > most.max_percent
    ]


def _not_for_this_kind(facts: Facts) -> Sequence[str]:
    """Scents of which no maximum is stated for this kind of product, with what is stated."""
    return [
        Sentence(
            "{name} (only for {category})" if part.category else "{name}",
            name=part.name,
            category=part.category,
        )
        for part in _scented(facts)
        if for_kinds(part, _kinds(facts)) is None
    ]


def _expired(facts: Facts) -> Sequence[str]:
    day = facts.day
    return _names(
        part for part in facts.parts if day and part.valid_until and part.valid_until < day
    )


def _claims(facts: Facts) -> Sequence[str]:
    said = f"{facts.product_name} {facts.label_function}".lower()
    words = "".join(letter if letter.isalnum() else " " for letter in said).split()
    return [word for word in dict.fromkeys(words) if word in _CLAIMS or word.startswith("spf")]


def _stricter(facts: Facts) -> Sequence[str]:
    return [*(["leave-on"] if facts.use == "leave_on" else []), *facts.areas]


def _hot(facts: Facts) -> Sequence[str]:
    hot = facts.celsius is not None and facts.celsius > HOT
    if not hot or facts.celsius is None:
        return []
    return [Sentence("{celsius:f} degC", celsius=facts.celsius.normalize())]


_RULES: Final = (
    _Rule(
        "lye",
        (Step.WEIGH,),
        _flagged(Flag.LYE),
        "Goggles and gloves; lye into water, never the reverse; check its purity.",
        "It burns eyes and skin, and water poured on it boils over.",
        SUPPLIER,
    ),
    _Rule(
        "powder",
        (Step.WEIGH,),
        _flagged(Flag.POWDER),
        "Wear a mask and do not stir up dust.",
        "Fine powder harms when it is breathed in.",
        SUPPLIER,
    ),
    _Rule(
        "solvent",
        (Step.WEIGH,),
        _flagged(Flag.SOLVENT),
        "No flame, no spark, fresh air.",
        "It is flammable, and so is its vapour.",
        SUPPLIER,
    ),
    _Rule(
        "hot",
        (Step.MEASURE, Step.FINISH, Step.FILL),
        _hot,
        "Above 60 degC: beware of burns, and see that the containers stand the fill temperature.",
        "It scalds, and its density is not that of the cold batch, so a fill by volume is off.",
        ASSESSOR,
    ),
    _Rule(
        "water_unpreserved",
        (Step.FORMULA, Step.PRODUCT, Step.FINISH),
        _unpreserved,
        CHALLENGE,
        "There is water and nothing that is known as a preservative.",
        ASSESSOR,
    ),
    _Rule(
        "preservative_outside_range",
        (Step.FORMULA,),
        _preservative_outside,
        CHALLENGE,
        "A preservative is outside the range stated for it.",
        ASSESSOR,
    ),
    _Rule(
        "preservative_as_weighed",
        (Step.WEIGH, Step.FINISH),
        _preservative_as_weighed,
        CHALLENGE,
        "By what is really in the pot a preservative is outside the range stated for it.",
        ASSESSOR,
    ),
    _Rule(
        "ph_outside",
        (Step.MEASURE, Step.FINISH),
        lambda facts: [facts.ph_outside] if facts.ph_outside else [],
        CHALLENGE,
        "The pH is outside its window, and many preservatives work within theirs alone.",
        ASSESSOR,
    ),
    _Rule(
        "outside_window",
        (Step.MEASURE, Step.FINISH),
        lambda facts: list(facts.outside),
        "Put it right before it is filled, or say why it may stay so.",
        "What was measured lies outside what the formula wants.",
        ASSESSOR,
    ),
    _Rule(
        "beyond_formula",
        (Step.WEIGH, Step.FINISH),
        lambda facts: list(dict.fromkeys(facts.additions)),
        CHALLENGE,
        "Something went in that the formula does not list.",
        ASSESSOR,
    ),
    _Rule(
        "above_certificate",
        (Step.FORMULA, Step.PRODUCT, Step.FINISH),
        _above_certificate,
        "Keep to the certificate's maximum for this category of product.",
        "Above it a scent may sensitise skin.",
        CERTIFICATE,
    ),
    _Rule(
        "maximum_for_another_kind",
        (Step.PRODUCT,),
        _not_for_this_kind,
        "Look up the certificate's maximum for how and where this product is used.",
        "A certificate limits each category of products by itself, and the catalogue has none for"
        " this one.",
        CERTIFICATE,
    ),
    _Rule(
        "certificate_expired",
        (Step.PLAN,),
        _expired,
        "Get the current certificate before it goes in.",
        "The certificate has been amended or has run out by that day.",
        CERTIFICATE,
    ),
    _Rule(
        "botanical",
        (Step.FORMULA,),
        _flagged(Flag.ESSENTIAL_OIL, Flag.BOTANICAL),
        "Look for allergens, and for what sunlight does to it on the skin.",
        "Essential oils and plants carry allergens, and some are phototoxic.",
        ASSESSOR,
    ),
    _Rule(
        "allergen_origin",
        (Step.FORMULA, Step.PLAN, Step.PRODUCT),
        _flagged(Flag.NUT, Flag.MILK, Flag.WHEAT),
        "Keep it apart from other batches, clean up after it, and say it to who buys.",
        "It comes from nut, milk or wheat, to which people are allergic.",
        Sentence("{first} {then}", first=Sentence(ASSESSOR), then=Sentence(AUTHORITY)),
    ),
    _Rule(
        "lot_undated",
        (Step.PLAN,),
        lambda facts: list(dict.fromkeys(facts.undated_lots)),
        "Look and smell before it goes in; find out its date.",
        "Nobody knows until when this lot is good, and unknown is not safe.",
        "Ask the supplier.",
    ),
    _Rule(
        "stricter_review",
        (Step.PRODUCT,),
        _stricter,
        "Asks for a stricter review before it is given to anybody.",
        "It stays on, or goes where skin takes up more or is more easily harmed.",
        ASSESSOR,
    ),
    _Rule(
        "claim",
        (Step.PRODUCT,),
        _claims,
        "Think again about this word.",
        "A claim to heal, protect from the sun or kill germs may make a drug of a cosmetic.",
        AUTHORITY,
    ),
)
