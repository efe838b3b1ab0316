"""What a label says a product is made of."""

from decimal import Decimal as D
from fractions import Fraction as F
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.declaration import (
    Group,
    Market,
    Part,
    Stated,
    broken_up,
    declare,
    key_of,
    shown,
)
from formulas.errors import (
    CompositionMissing,
    InciMissing,
    NothingDeclared,
    WaterLostTooMuch,
)
from tests.refusing import assert_refused

WATER, GLYCERIN = Stated("Water", "Aqua"), Stated("Glycerin", "Glycerin")
BLEND = Stated(
    "Preservative",
    parts=(Part("Phenoxyethanol", D(90)), Part("Ethylhexylglycerin", D(10))),
)
GREEN = Stated("Green", "CI 77288")
SCENT = Stated("Scent", "Parfum", allergens=(Part("Linalool", D(8)), Part("Citral", D("0.5"))))


def test_descending_composites_broken_up_and_colourants_last() -> None:
    stated = {"w": WATER, "g": GLYCERIN, "p": BLEND, "c": GREEN, "s": SCENT}
    shares = {"g": F(12), "p": F(1), "c": F(3), "s": F("0.5"), "w": F("83.5")}
    declared = declare(shares, stated, use="rinse_off")
    assert declared.text == (
        "Aqua, Glycerin, Phenoxyethanol, Parfum, Ethylhexylglycerin, Linalool, CI 77288"
    )
    named = {one.inci_name: one for one in declared.ingredients}
    assert named["Phenoxyethanol"].percent == F("0.9")
    assert named["Phenoxyethanol"].materials == ("Preservative",)
    assert named["Glycerin"].group is Group.ABOVE
    assert named["Parfum"].group is Group.UP_TO
    assert named["Linalool"].group is Group.UP_TO
    assert named["CI 77288"].group is Group.COLOURANT
    assert [(one.inci_name, one.percent, one.named) for one in declared.allergens] == [
        ("Linalool", F("0.04"), True),
        ("Citral", F("0.0025"), False),
    ]
    assert declared.notes == (
        "A record and calculator, not a safety assessment; check your local authority.",
        DATES,
    )


def test_left_on_the_threshold_is_a_tenth() -> None:
    stated, shares = {"w": WATER, "s": SCENT}, {"w": F("99.5"), "s": F("0.5")}
    assert "Citral" in declare(shares, stated, use="leave_on").text
    unsaid = declare(shares, stated)
    assert "Citral" in unsaid.text, "unsaid, the stricter one holds"
    assert any("stricter" in note for note in unsaid.notes)


def test_one_allergen_of_several_materials_is_summed_first() -> None:
    """0.006 and 0.005 % are each below 0.01 %, and together above it."""
    first = Stated("Rose", "Rosa Damascena Flower Oil", allergens=(Part("Geraniol", D(6)),))
    second = Stated("Palmarosa", "Cymbopogon Martini Oil", allergens=(Part("GERANIOL", D(5)),))
    stated = {"w": WATER, "1": first, "2": second}
    declared = declare({"w": F("99.8"), "1": F("0.1"), "2": F("0.1")}, stated, use="rinse_off")
    (geraniol,) = declared.allergens
    assert geraniol.percent == F("0.011")
    assert "Geraniol" in declared.text


def test_an_allergen_has_the_spelling_of_the_ingredient_that_it_is() -> None:
    pure = Stated("Rose note", "Geraniol")
    scent = Stated("Palmarosa", "Cymbopogon Martini Oil", allergens=(Part("GERANIOL", D(5)),))
    declared = declare({"w": F(98), "p": F(1), "s": F(1)}, {"w": WATER, "p": pure, "s": scent})
    assert [(one.inci_name, one.percent) for one in declared.allergens] == [
        ("Geraniol", F("1.05")),
    ]


def test_an_allergen_that_is_an_ingredient_is_named_once() -> None:
    """Benzyl Alcohol preserves and is in the fragrance; of the blend the certificate decides."""
    alcohol = Stated("Benzyl alcohol", "Benzyl Alcohol")
    scent = Stated(
        "Scent",
        parts=(Part("Parfum", D(80)), Part("Benzyl Alcohol", D(20))),
        allergens=(Part("Benzyl Alcohol", D(21)),),
    )
    stated = {"w": WATER, "a": alcohol, "s": scent}
    declared = declare({"w": F(98), "a": F(1), "s": F(1)}, stated, use="leave_on")
    assert declared.text == "Aqua, Benzyl Alcohol, Parfum"
    assert declared.allergens[0].percent == F("1.21"), "not counted twice"


def test_one_name_however_it_is_spelt() -> None:
    stated = {"1": WATER, "2": Stated("Hydrolat", "  AQUA "), "3": Stated("Tap", "Water (Aqua)")}
    declared = declare({"1": F(50), "2": F(30), "3": F(20)}, stated, use="leave_on")
    assert declared.text == "Aqua"
    assert declared.ingredients[0].materials == ("Water", "Hydrolat", "Tap")
    assert declare({"1": F(1)}, stated, market=Market.US).text == "Water"
    assert key_of("Aqua / Water") == key_of("Eau") == "aqua"
    assert key_of("Fragrance") == key_of("Parfum") != key_of("Limonene")


def test_exactly_one_percent() -> None:
    """The EU frees what is below 1 %, the US what is at it."""
    stated, shares = {"w": WATER, "g": GLYCERIN}, {"w": F(99), "g": F(1)}
    assert declare(shares, stated).ingredients[1].group is Group.ABOVE
    assert declare(shares, stated, market=Market.US).ingredients[1].group is Group.UP_TO


def test_in_the_us_a_fragrance_is_declared_as_such() -> None:
    declared = declare({"w": F(90), "s": F(10)}, {"w": WATER, "s": SCENT}, market=Market.US)
    assert declared.text == "Water, Fragrance"
    assert [one.named for one in declared.allergens] == [True, True]
    assert any("609" in note for note in declared.notes)


DATES = (
    "The longer list of allergens of Regulation (EU) 2023/1545 holds from 31 July 2026 for what is"
    " first sold then, and from 31 July 2028 for all that is sold (its Art. 1, from memory). Which"
    " names are on it is not kept here: what certificates state is listed."
)
RECORD = "A record and calculator, not a safety assessment; check your local authority."


def test_what_the_reader_must_know_is_said_in_whole_sentences() -> None:
    lye = Stated("Lye", "Potassium Hydroxide")
    stated = {"w": WATER, "l": lye, "s": SCENT}
    shares = {"w": F(90), "l": F(5), "s": F(5)}
    soap = (
        "Declared as added: where lye makes soap of oils, the names of the soaps may stand instead"
        " of oil and lye, which is not worked out here."
    )
    assert declare(shares, stated, water_lost_percent=D("2.5")).notes == (
        RECORD,
        "Water that boils off: 2.5 % of what is weighed in.",
        "The product does not say whether it is left on or rinsed off, so the stricter threshold of"
        " allergens holds.",
        DATES,
        soap,
    )
    assert declare(shares, stated, market=Market.US).notes == (
        RECORD,
        "In the US a fragrance may be declared as such; which of its allergens must be named is"
        " still to be ruled (FD&C Act section 609), so they are only listed apart.",
        soap,
    )
    without_scent = {"w": F(99), "l": F(1)}
    assert declare(without_scent, stated, market=Market.US).notes == (RECORD,)


def test_a_colourant_is_one_by_its_number_or_because_its_maker_says_so() -> None:
    """Article 19(1)(g): colourants may stand after all others, in any order."""
    mica = Stated("Shimmer", "Mica", colourant=True)
    coated = Stated("Coated", parts=(Part("Talc", D(60)), Part("CI77491", D(40))), colourant=True)
    stated = {"w": WATER, "m": mica, "c": coated}
    declared = declare({"w": F(60), "m": F(20), "c": F(20)}, stated, use="rinse_off")
    assert declared.text == "Aqua, Talc, Mica, CI77491"
    assert [one.group for one in declared.ingredients] == [
        *(Group.ABOVE, Group.ABOVE),
        *(Group.COLOURANT, Group.COLOURANT),
    ]
    plain = {"w": WATER, "c": Stated("Fill", "Mica"), "m": mica}
    (_, found) = declare({"w": F(60), "m": F(20), "c": F(20)}, plain, use="rinse_off").ingredients
    assert (found.group, found.materials) == (Group.COLOURANT, ("Shimmer", "Fill"))


def test_the_spelling_is_that_of_whoever_brings_most_and_ties_go_by_name() -> None:
    stated = {
        "1": Stated("Little", "glycerin"),
        "2": Stated("Most", " Glycerin "),
        "3": Stated("As much", "GLYCERIN"),
        "b": Stated("Butter", "Butyrospermum  Parkii Butter"),
        "a": Stated("Oil", "argania spinosa kernel oil"),
    }
    shares = {"b": F(20), "a": F(20), "1": F(10), "2": F(25), "3": F(25)}
    declared = declare(shares, stated, use="rinse_off")
    assert declared.text == "Glycerin, argania spinosa kernel oil, Butyrospermum Parkii Butter"
    assert declared.ingredients[0].materials == ("Little", "Most", "As much")


def test_an_allergen_stands_by_its_own_percent_of_what_is_there() -> None:
    """8 % of 12.5 g in 100 g is 1 %; where a fifth is marc that is taken out, 1.25 %."""
    stated = {"w": WATER, "s": SCENT, "m": Stated("Marc", absent=True)}
    declared = declare({"w": F("87.5"), "s": F("12.5")}, stated, use="rinse_off")
    by_name = {one.inci_name: one for one in declared.ingredients}
    assert by_name["Linalool"].percent == 1
    assert by_name["Linalool"].group is Group.ABOVE
    assert by_name["Linalool"].materials == ()
    pressed = declare({"w": F("67.5"), "s": F("12.5"), "m": F(20)}, stated, use="rinse_off")
    assert pressed.allergens[0].percent == F("1.25")
    assert pressed.threshold == F("0.01")


def test_a_threshold_is_passed_above_it_and_not_at_it() -> None:
    """Regulation (EU) 2023/1545: named above 0.001 % left on and above 0.01 % rinsed off."""
    pure = Stated("Scent", "Parfum", allergens=(Part("Citral", D(1)),))
    for use, at in (("leave_on", F("0.1")), ("rinse_off", F(1))):
        for share, named in ((at, False), (at + F("0.0001"), True)):
            shares = {"w": 100 - share, "s": share}
            declared = declare(shares, {"w": WATER, "s": pure}, use=use)
            assert [one.named for one in declared.allergens] == [named]
            assert ("Citral" in declared.text) is named


def test_water_boils_off() -> None:
    stated, shares = {"w": WATER, "g": GLYCERIN}, {"w": F(60), "g": F(40)}
    declared = declare(shares, stated, water_lost_percent=D(30))
    assert declared.text == "Glycerin, Aqua"
    assert declared.ingredients[0].percent == F(400, 7)
    assert declared.ingredients[0].shown == D("57.142857")
    assert any("30 %" in note for note in declared.notes)
    thick = declare(shares, stated, water_lost_percent=D(45))
    assert thick.ingredients[1].percent == F(1500, 55)
    for shares_of, lost, there in ((shares, "60", "60"), ({"g": F(100)}, "1", "0")):
        assert_refused(
            partial(declare, shares_of, stated, water_lost_percent=D(lost)),
            WaterLostTooMuch,
            "/water_lost_percent",
            f"More water would boil off than there is, {there} %: give a smaller"
            " water_lost_percent.",
        )


def test_lye_is_declared_as_added_and_said_so() -> None:
    lye = Stated("Lye", "Sodium Hydroxide")
    declared = declare({"w": F(90), "l": F(10)}, {"w": WATER, "l": lye}, use="rinse_off")
    assert any("soap" in note for note in declared.notes)
    little = declare({"w": F("99.5"), "l": F("0.5")}, {"w": WATER, "l": lye}, use="rinse_off")
    assert not any("soap" in note for note in little.notes), "it only sets the pH"


def test_what_cannot_be_declared() -> None:
    stated = {
        "w": WATER,
        "1": Stated("Mystery"),
        "0": Stated("Bare", "  "),
        "2": Stated("Blend B", "Glycerin (AND) Aqua"),
        "4": Stated("Blend A", "Glycerin; Aqua"),
        "3": Stated("Marc", absent=True),
    }
    with pytest.raises(InciMissing) as missing:
        declare({"w": F(90), "1": F(5), "0": F(5)}, stated)
    assert missing.value.facts["materials"] == ["Bare", "Mystery"]
    assert missing.value.detail == (
        "A label names ingredients by INCI: give an INCI name or a composition to Bare, Mystery."
    )
    with pytest.raises(CompositionMissing) as blends:
        declare({"w": F(90), "2": F(5), "4": F(5)}, stated)
    assert blends.value.facts["materials"] == ["Blend A", "Blend B"]
    assert blends.value.detail == (
        "A blend is declared by its parts: state the composition of Blend A, Blend B, in percent."
    )
    assert declare({"w": F(90), "3": F(10)}, stated).text == "Aqua", "what is absent needs no name"
    with pytest.raises(NothingDeclared):
        declare({"3": F(100)}, stated)


def test_through_mixtures_of_mixtures() -> None:
    """Lost mass is lost of all parts alike, so amounts count only against each other."""
    mixtures = {
        "whole": {"extract": F(20), "water": F(80)},
        "extract": {"infusion": F(1), "water": F(1)},
        "infusion": {"oil": F(900), "herb": F(100)},
    }
    found = broken_up("whole", mixtures)
    assert found == {"water": F(90), "oil": F(9), "herb": F(1)}
    halves = {"whole": {"gone": F(1), "made": F(1)}, "made": {"a": F(1)}}
    assert broken_up("whole", {**halves, "gone": {}}) == {"a": F(50)}
    backwards = {"whole": {"made": F(1), "gone": F(1)}, "made": {"a": F(1)}, "gone": {}}
    assert broken_up("whole", backwards) == {"a": F(50)}
    under = {**halves, "gone": {"lost": F(0)}, "lost": {"b": F(1)}}
    assert broken_up("whole", under) == {"a": F(50), "b": F(0)}


amounts = st.fractions(min_value=F(1, 1000), max_value=1000)


@given(
    st.dictionaries(st.sampled_from("abc"), amounts, min_size=1),
    st.dictionaries(st.sampled_from("bcde"), amounts, min_size=1),
    st.dictionaries(st.sampled_from("cdef"), amounts, min_size=1),
)
def test_nothing_is_lost_on_the_way_down(
    whole: dict[str, F], first: dict[str, F], second: dict[str, F]
) -> None:
    mixtures = {"whole": {**whole, "1": F(3)}, "1": {**first, "2": F(5)}, "2": second}
    leaves = broken_up("whole", mixtures)
    assert sum(leaves.values()) == 100
    stated = {name: Stated(name, f"Name {name}") for name in leaves}
    declared = declare(leaves, stated, use="leave_on")
    percents = [one.percent for one in declared.ingredients]
    assert sum(percents) == 100
    assert percents == sorted(percents, reverse=True)
    assert all(
        abs(shown(one) - D(one.numerator) / D(one.denominator)) < D("1e-6") for one in percents
    )
