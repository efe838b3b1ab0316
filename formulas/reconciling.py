"""Where all that was weighed into a batch is at its end, by mass.

input = output + what was set apart + loss (ISO 22005 and the reconciliation of ISO 22716, 7.2). The
loss has the names that are known for it: marc and evaporation of an infusion whose marc was
weighed, both in one where it was not, and process loss otherwise.
"""

from decimal import Decimal

ZERO = Decimal(0)


def places_of(
    *,
    input_grams: Decimal,
    output_grams: Decimal,
    by_product_grams: Decimal,
    joint_grams: Decimal,
    abnormal_grams: Decimal,
    is_infusion: bool,
    marc_grams: Decimal | None,
) -> tuple[tuple[str, Decimal], ...]:
    """Places and grams that sum to the input exactly; the last is what remains.

    It is below zero where more came out than went in.
    """
    places = [
        ("output", output_grams),
        ("by-products", by_product_grams),
        ("joint products", joint_grams),
        ("abnormal loss", abnormal_grams),
    ]
    if marc_grams is not None:
        places.append(("marc", marc_grams))
    rest = input_grams - sum((grams for _, grams in places), ZERO)
    name = "process loss"
    if is_infusion:
        name = "marc and evaporation" if marc_grams is None else "evaporation"
    places.append((name, rest))
    return tuple((place, grams) for place, grams in places if grams or place == "output")
