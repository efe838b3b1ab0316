"""Making up a line with a substitute: active matter is matched, the balance line gives way.

A grade of 28 % carries as much active matter as a grade of 70 % only in 2.5 times the mass, and
what it brings beside that must come off the water, or the batch grows and everything in it is
diluted. Common practice of formulators: active needed = mass · active percent, mass of the
substitute = active missing ÷ its active percent, water = planned - (substitute - replaced).

Masses are grams; percents are active matter by mass. Without percents a substitute stands in one
to one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from formulas.errors import BalanceMissing, BalanceTooSmall
from ledger.costing import round_stored
from ledger.errors import Invalid, QuantityNotPositive, Sentence

SCALE_STEP = Decimal("0.01")
ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Strength:
    """How much of each is active matter, in percent by mass: of the line's own, and the other."""

    own_percent: Decimal
    other_percent: Decimal


@dataclass(frozen=True, slots=True)
class MadeUp:
    """A line split: `kept` of its own, `other` in the place of `replaced` of its own.

    `brought` is what the other weighs beyond what it replaces, and may be below zero. The active
    figures are None one to one; `active_left` is what the step of the scale leaves unmatched, less
    than half a step of the other's active matter.
    """

    kept: Decimal
    replaced: Decimal
    other: Decimal
    brought: Decimal
    active_needed: Decimal | None = None
    active_kept: Decimal | None = None
    active_short: Decimal | None = None
    active_left: Decimal | None = None


def make_up(
    needed: Decimal,
    kept: Decimal,
    strength: Strength | None,
    *,
    step: Decimal = SCALE_STEP,
) -> MadeUp:
    """Split `needed` grams into `kept` of the line's own and a substitute for the rest.

    The substitute is rounded to `step`, a tie to the even one; one to one it is not rounded.
    Raises QuantityNotPositive for nothing to make up, Invalid for more kept than needed or a
    percent that is not above 0 and at most 100.
    """
    if kept < 0 or kept > needed:
        raise Invalid("What is kept is at most what is needed.", pointer="/lot")
    replaced = needed - kept
    if not replaced > 0:
        raise QuantityNotPositive("There is nothing to make up.", pointer="/lot")
    if strength is None:
        return MadeUp(kept, replaced, replaced, ZERO)
    own, other = (_share(p) for p in (strength.own_percent, strength.other_percent))
    missing = Fraction(replaced) * own
    grams = round(missing / other / Fraction(step)) * step
    if not grams > 0:
        raise QuantityNotPositive(
            "What is missing is less than the scale can weigh of the substitute.", pointer="/lot"
        )
    return MadeUp(
        kept=kept,
        replaced=replaced,
        other=grams,
        brought=grams - replaced,
        active_needed=round_stored(Fraction(needed) * own),
        active_kept=round_stored(Fraction(kept) * own),
        active_short=round_stored(missing),
        active_left=round_stored(missing - Fraction(grams) * other),
    )


def corrected_balance(planned: Decimal, weighed: Decimal, brought: Decimal) -> Decimal:
    """Grams of the balance line after a substitute brought so much more, or less.

    Raises BalanceTooSmall when the balance line has not that much left to give: what was weighed
    already cannot be held back, and a balance line of nothing is none.
    """
    left = planned - brought
    if brought > 0 and (left < weighed or left <= 0):
        can = max(ZERO, planned - weighed)
        raise BalanceTooSmall(brought=brought, left=can, pointer="/material")
    return left


def must_have_balance(made_up: MadeUp, has_balance: bool) -> None:
    """Raises BalanceMissing where the mass changes and no other line can give way."""
    if made_up.brought and not has_balance:
        raise BalanceMissing(brought=made_up.brought, pointer="/material")


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a material that a substitution touches; `brings` is None if nothing is.

    `brings` names what a raw material carries beside its active matter, such as "preservative";
    `allergens` says that some are recorded of it, whether or not the rest is known. `preserves` is
    true of a preservative.
    """

    name: str
    inci_name: str = ""
    function: str = ""
    brings: frozenset[str] | None = None
    allergens: bool = False
    preserves: bool = False


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to look at because of what was changed, and why, in a sentence."""

    code: str
    text: str


SURFACTANT = "surfactant"
_BROUGHT = (
    (
        "preservative",
        "preservative_carried",
        "{other} carries a preservative of its own: reckon the total against its limit, since what"
        " keeps the product has changed. Needs a challenge test (e.g. ISO 11930); this cannot"
        " show that it is preserved.",
    ),
    (
        "salts",
        "salts_carried",
        "{other} carries salts: a product thickened by salt may turn out thinner or thicker, so"
        " check the viscosity before thickening.",
    ),
    (
        "allergens",
        "allergens_carried",
        "{other} carries fragrance allergens: above 0.001 % in what stays on or 0.01 % in what is"
        " rinsed off they belong on the label.",
    ),
)
_CHANGED = (
    "{other} stands in for {own}, and a preservative is what keeps the product: see that it suits"
    " this product, at this amount and pH. Needs a challenge test (e.g. ISO 11930); this cannot"
    " show that it is preserved."
)
_LOST = (
    "{own} carries a preservative of its own, and none is recorded of {other}: what keeps the"
    " product has changed. Needs a challenge test (e.g. ISO 11930); this cannot show that it is"
    " preserved."
)
_TOO_LITTLE = (
    "{name} comes to {percent:f} % of this batch, and its entry says at least {bound:f} %: ask the"
    " supplier, or a qualified safety assessor."
)
_TOO_MUCH = (
    "{name} comes to {percent:f} % of this batch, and its entry says at most {bound:f} %: ask the"
    " supplier, or a qualified safety assessor."
)


def touched(own: Known, other: Known, brought: Decimal = ZERO) -> tuple[Caution, ...]:
    """What putting one material in the place of another touches, by what is known of both.

    What the own one brings as well is told too: it is seldom the same, nor as much of it. The
    limits for allergens are those of Regulation (EC) No 1223/2009, annex III, as amended by
    Regulation (EU) 2023/1545.
    """
    found = [*_of_inci(own, other), *_of_preservation(own, other)]
    carried = _carried(other)
    for what, code, text in _BROUGHT:
        if what in carried:
            found.append(Caution(code, Sentence(text, other=other.name)))
    if other.brings is None:
        found.append(
            Caution(
                "carried_unknown",
                Sentence(
                    "What {other} carries beside its active matter is not recorded: see its data"
                    " sheet for preservatives, salts and allergens.",
                    other=other.name,
                ),
            )
        )
    if SURFACTANT in (own.function, other.function) or not (own.function and other.function):
        found.append(
            Caution(
                "check_ph",
                "Check the pH before filling: grades of a surfactant differ in pH, and a"
                " preservative may need its window.",
            )
        )
    if brought:
        found.append(
            Caution(
                "balance_changed",
                "The balance line gives way for what the substitute brings: weigh the corrected"
                " amount, not the one on a sheet printed before. With more or less water what"
                " keeps the product has changed too. Needs a challenge test (e.g. ISO 11930); this"
                " cannot show that it is preserved.",
            )
        )
    return tuple(found)


def outside(
    name: str, percent: Decimal, low: Decimal | None, high: Decimal | None
) -> tuple[Caution, ...]:
    """Whether so many percent of a batch lie outside the range that its catalogue entry states."""
    below, above = low is not None and percent < low, high is not None and percent > high
    bounds = ((_TOO_LITTLE, low, below), (_TOO_MUCH, high, above))
    return tuple(
        Caution(
            "percent_outside_range",
            Sentence(text, name=name, percent=_told(percent), bound=_told(bound)),
        )
        for text, bound, beyond in bounds
        if bound is not None and beyond
    )


def _told(percent: Decimal) -> Decimal:
    return round(percent, 2).normalize()


def _carried(one: Known) -> frozenset[str]:
    return (one.brings or frozenset()) | ({"allergens"} if one.allergens else set())


def _of_preservation(own: Known, other: Known) -> Sequence[Caution]:
    """A preservative changed for something else, or carry-over that is no longer there."""
    if own.preserves or other.preserves:
        text = _CHANGED
    elif "preservative" in _carried(own) - _carried(other):
        text = _LOST
    else:
        return []
    return [Caution("preservation_changed", Sentence(text, own=own.name, other=other.name))]


def _of_inci(own: Known, other: Known) -> Sequence[Caution]:
    if not own.inci_name or not other.inci_name:
        return [
            Caution(
                "inci_unknown",
                "An INCI name is not recorded: see whether the ingredient list still holds.",
            )
        ]
    if own.inci_name.casefold() == other.inci_name.casefold():
        return []
    return [
        Caution(
            "inci_changed",
            Sentence(
                "{other} stands in for {own}: the ingredient list of this batch is another one, so"
                " a label printed for the formula may be wrong.",
                other=other.inci_name,
                own=own.inci_name,
            ),
        )
    ]


def _share(percent: Decimal) -> Fraction:
    if not percent.is_finite() or not 0 < percent <= 100:
        raise Invalid("Active matter is above 0 and at most 100 percent.")
    return Fraction(percent) / 100
