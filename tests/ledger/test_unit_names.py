"""The names of units: every way of writing one, and which mean too many things."""

import pytest

from ledger.errors import UnitAmbiguous, UnitUnknown
from ledger.unit_names import Unit, unit_named

POUND, STONE = Unit("pound", "mass"), Unit("stone", "mass")


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        (" Lbs. ", "pound"),
        ("pounds (avoirdupois)", "pound"),
        ("ounces avoirdupois", "ounce"),
        ("drams avoirdupois", "avoirdupois_dram"),
        ("oz-t", "troy_ounce"),
        ("troy ounces", "troy_ounce"),
        ("wt. oz.", "ounce"),
        ("\N{MICRO SIGN}L", "microlitre"),
        ("\N{GREEK SMALL LETTER MU}L", "microlitre"),
        ("cm^3", "millilitre"),
        ("m\N{SUPERSCRIPT THREE}", "cubic_metre"),
        ("U.S. gallons", "gallon"),
        ("gal us", "gallon"),
        ("US liquid pint", "pint"),
        ("liq pt", "pint"),
        ("u.k. gal", "imperial_gallon"),
        ("fl. oz. (British)", "imperial_fluid_ounce"),
        ("fluid  drams", "fluid_dram"),
        ("us cwt", "short_hundredweight"),
        ("hundredweight (long)", "long_hundredweight"),
        ("MG", "milligram"),
        ("pcs", "each"),
        ("st", "stone"),
        ("s", "unknown"),
        ("gs", "unknown"),
        ("gu s", "unknown"),
    ],
)
def test_ways_of_writing(typed: str, name: str) -> None:
    if name == "unknown":
        with pytest.raises(UnitUnknown):
            unit_named(typed)
    else:
        assert unit_named(typed).name == name


def test_an_ounce_after_pounds_is_a_weight() -> None:
    for before in (POUND, STONE):
        assert unit_named("oz.", after=before) == Unit("ounce", "mass")
    for typed, after in (("oz", None), ("oz", Unit("gallon", "volume")), ("us oz", POUND)):
        with pytest.raises(UnitAmbiguous) as refused:
            unit_named(typed, after=after)
        assert refused.value.facts == {"unit": typed}
    with pytest.raises(UnitAmbiguous):
        unit_named("oz imp")
    assert unit_named("cup", after=POUND).name == "cup"


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("Tons", '"Tons" has more than one meaning: write "tonne", "short ton" or "long ton".'),
        ("Mg", '"Mg" has more than one meaning: write "mg" or "tonne".'),
        (" T", '"T" has more than one meaning: write "tonne", "tsp" or "tbsp".'),
    ],
)
def test_what_means_too_many_things(typed: str, sentence: str) -> None:
    with pytest.raises(UnitAmbiguous) as refused:
        unit_named(typed)
    assert refused.value.detail == sentence
    assert refused.value.facts == {"unit": typed.strip()}


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("Galon", 'The unit "Galon" is not known; did you mean "gal"?'),
        ("imprial gallon", 'The unit "imprial gallon" is not known; did you mean "imp gal"?'),
        (
            "hogsheads",
            "The unit 'hogsheads' is not known; use one such as g, kg, lb, oz wt, mL, fl oz, gal"
            " or pieces.",
        ),
        ("drops", "A drop has no fixed size: weigh it, or give mL."),
        ("big drop", "A drop has no fixed size: weigh it, or give mL."),
    ],
)
def test_what_is_not_known(typed: str, sentence: str) -> None:
    with pytest.raises(UnitUnknown) as refused:
        unit_named(typed)
    assert refused.value.detail == sentence
    assert refused.value.facts == {"unit": typed}
