"""What a formula is made of: lines that make 100 % w/w, and its explosion through intermediates.

Percentages are of the mass weighed in (% w/w). A formula used as a line is an intermediate,
made with a process loss of its own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from formulas.errors import (
    BalanceNotPositive,
    FormulaCycle,
    OverMaximum,
    PercentNot100,
    SecondBalance,
)
from ledger.errors import Invalid

HUNDRED = Decimal(100)
FINEST_PERCENT = Decimal("0.000001")


class Kind(StrEnum):
    """What a line calls for."""

    MATERIAL = "material"
    FORMULA = "formula"


@dataclass(frozen=True, slots=True)
class Ingredient:
    """A material, or a formula used as an intermediate, by its id."""

    kind: Kind
    id: str


@dataclass(frozen=True, slots=True)
class Fixed:
    """A line with a stated percent."""

    percent: Decimal


@dataclass(frozen=True, slots=True)
class ToEffect:
    """A line added until it does its work: it counts with its typical percent."""

    typical_percent: Decimal
    max_percent: Decimal


@dataclass(frozen=True, slots=True)
class Balance:
    """The line that takes what the others leave (q.s. to 100)."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line as the maker wrote it; `pointer` says where, for a refusal to name."""

    ingredient: Ingredient
    amount: Fixed | ToEffect | Balance
    pointer: str = ""


@dataclass(frozen=True, slots=True)
class Composed:
    """One line with its percent settled; `max_percent` stands on to-effect lines only."""

    ingredient: Ingredient
    percent: Decimal
    is_balance: bool = False
    max_percent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Recipe:
    """The settled lines of one formula version, and its normal process loss in percent."""

    lines: tuple[Composed, ...]
    process_loss_percent: Decimal = Decimal(0)


def compose(lines: Sequence[Line]) -> tuple[Composed, ...]:
    """Settle every line's percent so that all make exactly 100.

    To-effect lines count with their typical percent; the balance line takes the rest. Raises
    PercentNot100, BalanceNotPositive, SecondBalance, OverMaximum (typical above maximum) and
    Invalid for a percent that is not above 0 and at most 100.
    """
    stated = [_stated_percent(line) for line in lines]
    rest = sum((Fraction(percent) for percent in stated if percent is not None), Fraction(0))
    balances = [line for line, percent in zip(lines, stated, strict=True) if percent is None]
    if len(balances) > 1:
        raise SecondBalance(pointer=balances[1].pointer)
    if not balances and rest != 100:
        raise PercentNot100(total=plain(rest), pointer="/phases")
    if balances and rest >= 100:
        raise BalanceNotPositive(total=plain(rest), pointer=balances[0].pointer)
    balance = plain(100 - rest)
    return tuple(
        Composed(
            ingredient=line.ingredient,
            percent=balance if percent is None else percent,
            is_balance=percent is None,
            max_percent=(line.amount.max_percent if isinstance(line.amount, ToEffect) else None),
        )
        for line, percent in zip(lines, stated, strict=True)
    )


def left_after_loss(process_loss_percent: Decimal) -> Fraction:
    """The part that is left after the normal loss, as an exact fraction.

    Raises Invalid unless the loss is at least 0 and below 100 percent.
    """
    if not process_loss_percent.is_finite() or not 0 <= process_loss_percent < 100:
        raise Invalid(
            "A process loss is at least 0 and below 100 percent.", pointer="/process_loss_percent"
        )
    return 1 - Fraction(process_loss_percent) / 100


def explode(
    formula: str, batch_grams: Decimal | Fraction, recipes: Mapping[str, Recipe]
) -> dict[str, Fraction]:
    """Grams of each material for `batch_grams` weighed in, through all intermediates.

    child = parent mass · % ÷ (1 - loss of the intermediate), recursively (the bill-of-material
    explosion of the textbooks). The figures are exact, so that the caller rounds once.
    `recipes` holds the formula and every intermediate under it, by id. Raises FormulaCycle,
    naming the path.
    """
    weighed_in = dict.fromkeys(recipes, Fraction(0))
    weighed_in[formula] = Fraction(batch_grams)
    needs: dict[str, Fraction] = {}
    for current in parents_first(formula, recipes):
        for line in recipes[current].lines:
            grams = weighed_in[current] * Fraction(line.percent) / 100
            child = line.ingredient.id
            if line.ingredient.kind is Kind.MATERIAL:
                needs[child] = needs.get(child, Fraction(0)) + grams
            else:
                weighed_in[child] += grams / left_after_loss(recipes[child].process_loss_percent)
    return needs


def parents_first(formula: str, recipes: Mapping[str, Recipe]) -> tuple[str, ...]:
    """The formula and all intermediates under it, each before what it contains.

    Raises FormulaCycle, naming the path. It keeps its own stack, because the depth of a
    co-op's formulas is the makers' to choose and must not be Python's to refuse.
    """
    done: dict[str, None] = {}
    path: dict[str, list[str]] = {formula: _intermediates(recipes[formula])}
    while path:
        current, children = next(reversed(path.items()))
        if not children:
            del path[current]
            done[current] = None
            continue
        child = children.pop()
        if child in path:
            names = [*path, child]
            loop = names[names.index(child) :]
            raise FormulaCycle(path=" → ".join(loop), formulas=loop)
        if child not in done:
            path[child] = _intermediates(recipes[child])
    return tuple(reversed(done))


def plain(number: Fraction) -> Decimal:
    """A sum or difference of decimals as the decimal it is, without trailing zeros."""
    return Decimal(number.numerator) / Decimal(number.denominator)


def _intermediates(recipe: Recipe) -> list[str]:
    return [line.ingredient.id for line in recipe.lines if line.ingredient.kind is Kind.FORMULA]


def _stated_percent(line: Line) -> Decimal | None:
    if isinstance(line.amount, Balance):
        return None
    if isinstance(line.amount, Fixed):
        return _percent(line.amount.percent, f"{line.pointer}/percent")
    pointer = f"{line.pointer}/to_effect"
    typical = _percent(line.amount.typical_percent, f"{pointer}/typical_percent")
    maximum = _percent(line.amount.max_percent, f"{pointer}/max_percent")
    if typical > maximum:
        raise OverMaximum(
            percent=typical, max_percent=maximum, pointer=f"{pointer}/typical_percent"
        )
    return typical


def _percent(percent: Decimal, pointer: str) -> Decimal:
    if not percent.is_finite() or not 0 < percent <= HUNDRED:
        raise Invalid("A percent is above 0 and at most 100.", pointer=pointer)
    if percent != percent.quantize(FINEST_PERCENT):
        raise Invalid("A percent has at most six decimals.", pointer=pointer)
    return percent
