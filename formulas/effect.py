"""Adding to effect (q.s.): what was added, what share it makes, and how much more may go in.

The maximum is a share of the final mass, and what is added is part of that mass too: to `m` grams
of everything else x grams may be added so that x = max · (m + x), hence x = max · m ÷ (1 - max)
(common practice in formulating; the algebra of a mass fraction). Figures are grams and percent.
"""

from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction

from formulas.errors import OverMaximum
from formulas.scaling import check_maximum, most_to_effect
from ledger.costing import round_stored
from ledger.errors import Sentence

ZERO = Decimal(0)
HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Pot:
    """What a batch holds beside one line, and of that line.

    `others_now` has been weighed. `others_final` is what the finished batch will hold beside it:
    each other line with what was weighed, or with its planned mass as long as nothing of it was.
    """

    others_now: Decimal
    others_final: Decimal
    own: Decimal


@dataclass(frozen=True, slots=True)
class Effect:
    """A line to effect after one addition.

    `share_percent` is of the mass in the batch now, `final_percent` of the final mass; both to six
    decimals. `headroom_grams` is what may still be added, cut to six decimals and never rounded
    up; None where the line has no maximum below 100 %.
    """

    added_grams: Decimal
    total_grams: Decimal
    mass_grams: Decimal
    share_percent: Decimal
    final_percent: Decimal
    max_percent: Decimal
    headroom_grams: Decimal | None


def effect_of(pot: Pot, added: Decimal, max_percent: Decimal) -> Effect:
    """The line after `added` grams more of it (below zero: taken out again)."""
    total = pot.own + added
    return Effect(
        added_grams=added,
        total_grams=total,
        mass_grams=pot.others_now + total,
        share_percent=share_of(total, pot.others_now + total),
        final_percent=share_of(total, pot.others_final + total),
        max_percent=max_percent,
        headroom_grams=headroom(pot.others_final, total, max_percent),
    )


def headroom(others: Decimal, own: Decimal, max_percent: Decimal) -> Decimal | None:
    """Grams that may be added to `own` beside `others`: never below zero; None without a limit."""
    if max_percent >= HUNDRED:
        return None
    return max(ZERO, most_to_effect(others, max_percent) - own)


def typical_grams(others: Decimal, median_percent: Decimal) -> Decimal:
    """Grams that make `median_percent` of the final mass beside `others`, to six decimals.

    Nothing where such a share cannot be, at 0 or at 100 percent.
    """
    if not 0 < median_percent < HUNDRED:
        return ZERO
    return most_to_effect(others, median_percent)


def share_of(part: Decimal, whole: Decimal) -> Decimal:
    """`part` in percent of `whole`, to six decimals; nothing of nothing is 0."""
    return round_stored(Fraction(part) * 100 / Fraction(whole)) if whole else ZERO


def overrun(pot: Pot, added: Decimal, max_percent: Decimal, name: str) -> OverMaximum | None:
    """The refusal, if `added` grams more of the line `name` pass its maximum."""
    left = headroom(pot.others_final, pot.own, max_percent)
    if left is None:
        return None
    total = pot.own + added
    try:
        check_maximum(total, pot.others_final, max_percent)
    except OverMaximum as refusal:
        # Of the share itself: what is rounded twice may end one digit too high.
        percent = HUNDRED * total / (pot.others_final + total)
        return OverMaximum(
            Sentence(
                "This would make {percent:.4f} % of {name}, above the maximum of {max_percent:f}"
                " %: at most {left} g more may be added. Add less, or record a deviation.",
                percent=percent,
                name=name,
                max_percent=max_percent.normalize(),
                left=left.quantize(Decimal("0.01"), ROUND_DOWN),
            ),
            pointer="/quantity",
            **refusal.facts,
            left=left,
            headroom_grams=left,
        )
    return None
