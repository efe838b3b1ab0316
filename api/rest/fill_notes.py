"""What is to be said beside weighed units and a target: few, or a density that is not quite it."""

from decimal import Decimal

from formulas.label_volumes import REFERENCE, holds_at_20
from formulas.models import Product
from ledger.quantities import Density

FEW = "Fewer than twelve units were weighed: their spread is a guess. Weigh more."
WARM = "The density holds at {at} degC, and contents are judged at 20 degC: measure it there."
UNUSED = (
    "The density at {at} degC that was given is not used: contents are judged at 20 degC, so one"
    " that holds at 15 to 25 degC is."
)


def notes_of(
    product: Product, few: bool, judged_at: Decimal | None, given: Density | None
) -> list[str]:
    """The notes of a product; `judged_at` is where the density in use holds, `given` what was sent.

    Contents by mass are judged by no density.
    """
    told = [FEW] if few else []
    if product.fill_ml is None:
        return told
    if given is not None and not holds_at_20(given):
        told.append(UNUSED.format(at=_degrees(given.celsius)))
    if judged_at not in (None, REFERENCE):
        told.append(WARM.format(at=_degrees(judged_at)))
    return told


def _degrees(celsius: Decimal | None) -> str:
    return "" if celsius is None else f"{celsius.normalize():f}"
