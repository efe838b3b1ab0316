"""What people type, and the grams, millilitres and pieces that it is."""

import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import (
    CountNotWhole,
    DensityMissing,
    QuantityTooLarge,
    QuantityTooSmall,
    QuantityUnreadable,
    Refusal,
    UnitWrong,
)
from ledger.quantities import (
    Quantity,
    convert,
    count_of,
    grams_of,
    kept_in,
    millilitres_of,
    parse_density,
    parse_quantity,
    parse_temperature,
    priced_per,
)

HUMECTANT = parse_density("1.26 g/mL", "20 degC")

READ = [
    ("4 gal", "volume", "15141.647136"),
    ("4 US gal", "volume", "15141.647136"),
    ("4 U.S. gallons", "volume", "15141.647136"),
    ("4 gallons (US)", "volume", "15141.647136"),
    ("4 imp gal", "volume", "18184.36"),
    ("4 UK gallons", "volume", "18184.36"),
    ("4 Imperial Gallons", "volume", "18184.36"),
    ("16 fl oz", "volume", "473.176473"),
    ("16 Fl. Oz.", "volume", "473.176473"),
    ("16 fluid ounces", "volume", "473.176473"),
    ("1 imp fl oz", "volume", "28.4130625"),
    ("1 qt", "volume", "946.352946"),
    ("1 pt", "volume", "473.176473"),
    ("1 fl dr", "volume", "3.6966911953125"),
    ("2 lb 3 oz", "mass", "992.233309375"),
    ("5 lb 8 oz", "mass", "2494.758035"),
    ("5lb8oz", "mass", "2494.758035"),
    ("5 lbs., 8 ozs.", "mass", "2494.758035"),
    ("5 pounds 8 ounces", "mass", "2494.758035"),
    ("1 st 2 lb 3 oz", "mass", "7342.526489375"),
    ("3 gal 2 qt", "volume", "13248.941244"),
    ("16 oz wt", "mass", "453.59237"),
    ("16 oz avdp", "mass", "453.59237"),
    ("16 ounces (weight)", "mass", "453.59237"),
    ("1 oz troy", "mass", "31.1034768"),
    ("1 dr avdp", "mass", "1.7718451953125"),
    ("2.5 kg", "mass", "2500"),
    (".5 kg", "mass", "500"),
    ("2.5KG", "mass", "2500"),
    ("2.5\u00a0kilos", "mass", "2500"),
    ("250 mg", "mass", "0.25"),
    ("10 µg", "mass", "0.00001"),
    ("10 mcg", "mass", "0.00001"),
    ("2 tonnes", "mass", "2000000"),
    ("2 metric tons", "mass", "2000000"),
    ("250 ml", "volume", "250"),
    ("250 ML", "volume", "250"),
    ("250 cc", "volume", "250"),
    ("250 cm³", "volume", "250"),
    ("1 m3", "volume", "1000000"),
    ("5 L", "volume", "5000"),
    ("5 l", "volume", "5000"),
    ("5 litres", "volume", "5000"),
    ("5 liters", "volume", "5000"),
    ("½ cup", "volume", "118.29411825"),
    ("1/2 cup", "volume", "118.29411825"),
    ("1\u20442 cup", "volume", "118.29411825"),
    ("1 ½ cup", "volume", "354.88235475"),
    ("1½ cups", "volume", "354.88235475"),
    ("1 1/2 cups", "volume", "354.88235475"),
    ("1-1/2 cups", "volume", "354.88235475"),
    ("1/3 cup", "volume", "78.8627455"),
    ("2 Tbsp", "volume", "29.5735295625"),
    ("60 each", "count", "60"),
    ("60 pcs", "count", "60"),
    ("1 piece", "count", "1"),
    ("1 1/2 dozen", "count", "18"),
    ("3 pairs", "count", "6"),
]

REFUSED = [
    ("16 oz", "unit_ambiguous"),
    ("16 ounces", "unit_ambiguous"),
    ("16 US oz", "unit_ambiguous"),
    ("16 oz 2 lb", "unit_ambiguous"),
    ("1 gal 3 oz", "unit_ambiguous"),
    ("1 T", "unit_ambiguous"),
    ("1 t", "unit_ambiguous"),
    ("1 c", "unit_ambiguous"),
    ("1 Mg", "unit_ambiguous"),
    ("1 ton", "unit_ambiguous"),
    ("1 cwt", "unit_ambiguous"),
    ("1 dram", "unit_ambiguous"),
    ("500 gr", "unit_ambiguous"),
    ("5 bushels", "unit_unknown"),
    ("5 imp cups", "unit_unknown"),
    ("3 drops", "unit_unknown"),
    ("5", "unit_missing"),
    ("½", "unit_missing"),
    ("5 lb 8", "unit_missing"),
    ("", "quantity_unreadable"),
    ("   ", "quantity_unreadable"),
    ("kg", "quantity_unreadable"),
    ("kg 5", "quantity_unreadable"),
    ("NaN kg", "quantity_unreadable"),
    ("Infinity g", "quantity_unreadable"),
    ("1e309 kg", "quantity_unreadable"),
    ("1E3 g", "quantity_unreadable"),
    ("1e5", "quantity_unreadable"),
    ("1,5 kg", "quantity_unreadable"),
    ("1,234 kg", "quantity_unreadable"),
    ("1 234 kg", "quantity_unreadable"),
    ("1-2 kg", "quantity_unreadable"),
    ("5 lb -8 oz", "quantity_not_positive"),
    ("0.5.5 kg", "quantity_unreadable"),
    ("1/0 kg", "quantity_unreadable"),
    ("5 %", "quantity_unreadable"),
    ("5 kg,", "quantity_unreadable"),
    ("3 oz wt 2 lb", "quantity_unreadable"),
    ("2 lb 2 lb", "quantity_unreadable"),
    ("2 lb 3 fl oz", "quantity_unreadable"),
    ("2 kg 3 each", "quantity_unreadable"),
    ("5\x00kg", "quantity_unreadable"),
    ("5 k\u200bg", "quantity_unreadable"),
    ("\ud8005 kg", "quantity_unreadable"),
    ("٣ kg", "quantity_unreadable"),
    ("5 kg" + " " * 100, "quantity_unreadable"),
    ("-5 kg", "quantity_not_positive"),
    ("\u22125 kg", "quantity_not_positive"),
    ("-½ cup", "quantity_not_positive"),
    ("0 kg", "quantity_not_positive"),
    ("0/5 kg", "quantity_not_positive"),
    ("0.0000001 g", "quantity_too_small"),
    ("1000000000000 g", "quantity_too_large"),
    ("1000000 tonne", "quantity_too_large"),
    ("9" * 60 + " kg", "quantity_too_large"),
]


@pytest.mark.parametrize(("text", "measure", "amount"), READ)
def test_quantities_that_are_read(text: str, measure: str, amount: str) -> None:
    read = parse_quantity(text)
    assert (read.measure, read.amount) == (measure, Decimal(amount))


@pytest.mark.parametrize(("text", "code"), REFUSED)
def test_quantities_that_are_refused(text: str, code: str) -> None:
    with pytest.raises(Refusal) as refused:
        parse_quantity(text)
    assert refused.value.code == code
    assert refused.value.detail.isprintable()


def test_what_was_typed_is_kept() -> None:
    assert parse_quantity("  4   Gallons ").entered == "4 Gallons"


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("1,5 kg", "decimal point"),
        ("1,234 kg", "no commas"),
        ("1 234 kg", "without spaces"),
        ("1e3 g", "without an exponent"),
        ("16 oz", '"fl oz" or "oz wt"'),
        ("1 ton", '"short ton" or "long ton"'),
        ("5 galon", 'did you mean "gal"'),
        ("5 kilogrms", 'did you mean "kg"'),
        ("5 punds", 'did you mean "lb"'),
        ("5 millileter", 'did you mean "mL"'),
        ("5 peices", 'did you mean "each"'),
        ("5 qqq", "use one such as g, kg"),
        ("3 drops", "weigh it"),
        ("5", '"60 pieces"'),
    ],
)
def test_a_refusal_says_what_to_do(text: str, remedy: str) -> None:
    with pytest.raises(Refusal) as refused:
        parse_quantity(text)
    assert remedy in refused.value.detail


POUND = Fraction(45359237, 100000)
INCH = Fraction(254, 100)
GALLON = 231 * INCH**3
IMPERIAL_GALLON = Fraction(454609, 100)


@pytest.mark.parametrize(
    ("unit", "base", "factor"),
    [
        ("lb", "g", POUND),
        ("oz wt", "g", POUND / 16),
        ("dr avdp", "g", POUND / 256),
        ("grain", "g", POUND / 7000),
        ("oz troy", "g", POUND * 480 / 7000),
        ("stone", "g", POUND * 14),
        ("short cwt", "g", POUND * 100),
        ("long cwt", "g", POUND * 112),
        ("short ton", "g", POUND * 2000),
        ("long ton", "g", POUND * 2240),
        ("gal", "mL", GALLON),
        ("qt", "mL", GALLON / 4),
        ("pt", "mL", GALLON / 8),
        ("cup", "mL", GALLON / 16),
        ("fl oz", "mL", GALLON / 128),
        ("tbsp", "mL", GALLON / 256),
        ("tsp", "mL", GALLON / 768),
        ("fl dr", "mL", GALLON / 1024),
        ("imp gal", "mL", IMPERIAL_GALLON),
        ("imp qt", "mL", IMPERIAL_GALLON / 4),
        ("imp pt", "mL", IMPERIAL_GALLON / 8),
        ("imp fl oz", "mL", IMPERIAL_GALLON / 160),
        ("hL", "mL", Fraction(100000)),
        ("dL", "mL", Fraction(100)),
        ("cL", "mL", Fraction(10)),
        ("uL", "mL", Fraction(1, 1000)),
    ],
)
def test_factors_are_exact_by_definition(unit: str, base: str, factor: Fraction) -> None:
    """Pound 0.45359237 kg, gallon 231 cubic inches, inch 2.54 cm, imperial gallon 4.54609 L."""
    assert Fraction(convert(f"1000 {unit}", base)) == 1000 * factor


def test_gallons_of_humectant_become_the_right_grams() -> None:
    grams = grams_of(parse_quantity("4 gal"), density=HUMECTANT, name="Glycerin")
    assert grams == Decimal("19078.475391")
    imperial = grams_of(parse_quantity("4 imp gal"), density=HUMECTANT, name="Glycerin")
    assert imperial == Decimal("22912.2936")
    assert millilitres_of(Decimal("1383.62"), HUMECTANT) == Decimal("1098.111111")


def test_grams_round_once_half_even() -> None:
    halves = parse_density("0.5 g/mL")
    assert grams_of(parse_quantity("0.000005 mL"), density=halves, name="Aqua") == Decimal(
        "0.000002"
    )
    assert grams_of(parse_quantity("0.000007 mL"), density=halves, name="Aqua") == Decimal(
        "0.000004"
    )


def test_a_volume_without_density_names_the_material() -> None:
    with pytest.raises(DensityMissing, match="Glycerin"):
        grams_of(parse_quantity("4 gal"), density=None, name="Glycerin")
    assert grams_of(parse_quantity("4 kg"), density=None, name="Glycerin") == 4000


def test_a_count_has_grams_only_by_the_mass_of_one() -> None:
    with pytest.raises(UnitWrong, match="Glycerin is measured by mass"):
        grams_of(parse_quantity("4 each"), density=HUMECTANT, name="Glycerin")
    bottles = parse_quantity("60 each")
    assert grams_of(bottles, density=None, name="Bottle", mass_each=Decimal("21.5")) == 1290


def test_grams_stay_within_what_can_be_stored() -> None:
    """A dense volume may pass the limit that its millilitres kept, and a light one vanish."""
    with pytest.raises(QuantityTooLarge):
        grams_of(parse_quantity("900000000000 mL"), density=HUMECTANT, name="Glycerin")
    with pytest.raises(QuantityTooSmall):
        grams_of(parse_quantity("0.000001 mL"), density=parse_density("0.4 g/mL"), name="Talc")


def test_counts_are_whole_pieces() -> None:
    assert str(count_of(parse_quantity("2.5 dozen"), name="Bottle")) == "30"
    with pytest.raises(CountNotWhole, match="Bottle"):
        count_of(parse_quantity("2.5 each"), name="Bottle")
    with pytest.raises(UnitWrong, match="Bottle is counted"):
        count_of(parse_quantity("2 kg"), name="Bottle")


def test_conversions_stay_within_their_kind() -> None:
    assert convert("3 tsp", "tbsp") == 1
    with pytest.raises(DensityMissing):
        convert("1 gal", "kg")
    with pytest.raises(UnitWrong, match="count"):
        convert("1 each", "kg")
    for nothing in ("", "k" * 65):
        with pytest.raises(QuantityUnreadable):
            convert("1 kg", nothing)


def test_what_is_counted_is_kept_and_priced_by_the_piece() -> None:
    assert (kept_in(counted=True), priced_per(counted=True)) == ("each", "each")
    assert (kept_in(counted=False), priced_per(counted=False)) == ("g", "kg")


def test_importing_waits_with_pint() -> None:
    """Commands that never read a quantity do not pay for the unit library."""
    program = "import sys, ledger.quantities; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0


units = st.sampled_from(["g", "kg", "lb", "oz wt", "mL", "L", "gal", "imp gal", "fl oz", "each"])
numbers = st.decimals("0.001", "1000000", places=3)
pieces = st.sampled_from(
    [
        "1",
        "½",
        "2.5",
        "1/2",
        " ",
        ",",
        "-",
        "e",
        "lb",
        "oz",
        "fl",
        "gal",
        "(US)",
        ".",
        "0",
        "/",
        "C",
    ]
)
odd_texts = st.text(max_size=80) | st.lists(pieces, max_size=10).map("".join)


def outcome(parse: Callable[[str], object], text: str) -> object:
    try:
        return parse(text)
    except Refusal as refusal:
        return refusal


@given(odd_texts)
def test_any_text_is_read_or_refused(text: str) -> None:
    """Nothing but a Refusal ever comes out, and its sentence can be shown and stored."""
    for parse in (parse_quantity, parse_density, parse_temperature):
        read = outcome(parse, text)
        if isinstance(read, Refusal):
            assert read.detail.isprintable()
            assert all(str(fact).isprintable() for fact in read.facts.values())
        elif isinstance(read, Quantity):
            assert Decimal("0.000001") <= read.amount < 10**12


@given(numbers, units)
def test_there_and_back(number: Decimal, unit: str) -> None:
    quantity = parse_quantity(f"{number} {unit}")
    base = {"mass": "g", "volume": "mL", "count": "each"}[quantity.measure]
    assert convert(f"{number} {unit}", unit) == number
    assert quantity.amount == convert(f"{number} {unit}", base)


@given(numbers, st.decimals("0.5", "2", places=4))
def test_grams_and_millilitres_are_each_others_way_back(number: Decimal, value: Decimal) -> None:
    density = parse_density(f"{value} g/mL")
    grams = grams_of(parse_quantity(f"{number} mL"), density=density, name="Aqua")
    assert abs(millilitres_of(grams, density) - number) <= Decimal("0.000002")


@given(st.integers(1, 500), st.integers(1, 15))
def test_pounds_and_ounces_are_one_weight(pounds: int, ounces: int) -> None:
    together = parse_quantity(f"{pounds} lb {ounces} oz").amount
    assert together == parse_quantity(f"{16 * pounds + ounces} oz wt").amount
