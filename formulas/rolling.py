"""What a gram of a formula costs by what its materials cost: exact, through all intermediates.

The roll-up of the bill-of-material textbooks: cost of output = sum of (% · cost of the line) ÷
(1 - process loss), level by level. Costs are per gram, in the co-op's currency.
"""

from collections.abc import Mapping
from fractions import Fraction

from formulas.composition import Recipe, explode, left_after_loss


def needs_per_gram(formula: str, recipes: Mapping[str, Recipe]) -> dict[str, Fraction]:
    """Grams of each material in one gram that is left after the loss, intermediates exploded.

    Raises FormulaCycle.
    """
    left = left_after_loss(recipes[formula].process_loss_percent)
    return explode(formula, 1 / left, recipes)


def cost_per_gram(needs: Mapping[str, Fraction], costs: Mapping[str, Fraction]) -> Fraction:
    """What those materials cost together. Raises KeyError for a cost that is not there."""
    return sum((grams * costs[material] for material, grams in needs.items()), Fraction(0))
