"""Quantities as people type them, and the grams, millilitres or pieces that they are.

Everything is Decimal, and every factor is exact by definition (NIST Handbook 44, Appendix C,
and NIST SP 811, Appendix B, for the pound and the US gallon; the UK Weights and Measures Act
1985 for the imperial gallon). Mass and volume are different dimensions: only a stated density
leads from one to the other. A spelling that two trades read differently is refused, never
guessed, because a wrong unit makes every cost after it wrong.
"""

import functools
import re
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Literal

from ledger.densities import density_from_specific_gravity, water_density
from ledger.errors import (
    CountNotWhole,
    DensityImplausible,
    DensityMissing,
    DensityNotPositive,
    DensityUnreadable,
    PiecesWanted,
    QuantityNotPositive,
    QuantityTooLarge,
    QuantityTooSmall,
    QuantityUnreadable,
    Sentence,
    TemperatureOutOfRange,
    TemperatureUnreadable,
    UnitMissing,
    UnitWrong,
    WeightWanted,
    placed,
)
from ledger.typed_numbers import (
    DECIMAL,
    FRACTION_SIGNS,
    NUMBER,
    number_of,
    refuse_number,
    tidy,
)
from ledger.unit_names import CUBIC, Measure, Unit, unit_named

if TYPE_CHECKING:
    from pint import UnitRegistry

# Every line is exact in decimals: a pound is 7000 grains and a gallon 768 teaspoons, but dividing
# by those does not end, so the two small units are written out.
DEFINITIONS = """
gram = [mass]
kilogram = 1000 * gram
milligram = gram / 1000
microgram = gram / 1000000
tonne = 1000000 * gram
pound = 453.59237 * gram
ounce = pound / 16
avoirdupois_dram = pound / 256
grain = 0.06479891 * gram
troy_ounce = 480 * grain
stone = 14 * pound
short_hundredweight = 100 * pound
long_hundredweight = 112 * pound
short_ton = 2000 * pound
long_ton = 2240 * pound
millilitre = [volume]
microlitre = millilitre / 1000
centilitre = 10 * millilitre
decilitre = 100 * millilitre
litre = 1000 * millilitre
hectolitre = 100000 * millilitre
cubic_metre = 1000000 * millilitre
gallon = 3785.411784 * millilitre
quart = gallon / 4
pint = gallon / 8
cup = gallon / 16
fluid_ounce = gallon / 128
tablespoon = gallon / 256
teaspoon = 4.92892159375 * millilitre
fluid_dram = gallon / 1024
imperial_gallon = 4546.09 * millilitre
imperial_quart = imperial_gallon / 4
imperial_pint = imperial_gallon / 8
imperial_fluid_ounce = imperial_gallon / 160
each = [count]
pair = 2 * each
dozen = 12 * each
kelvin = [temperature]
degree_celsius = kelvin; offset: 273.15
degree_fahrenheit = 5 / 9 * kelvin; offset: 2298.35 / 9
"""
_BASE: dict[Measure, str] = {"mass": "gram", "volume": "millilitre", "count": "each"}

# Quantities are stored as NUMERIC(18, 6): twelve digits before the point, six after it.
TOO_LARGE = Decimal(10) ** 12
SMALLEST = Decimal("0.000001")
# Densities are kept to twelve decimals of g/mL: lb/gal does not end, and a fixed number of
# decimals lets what is stored give the same grams again.
DENSITY_PLACES = Decimal("1E-12")
# Osmium, the densest of all, has 22.6 g/mL; the lightest powders some 0.02. What lies outside
# has been typed with the wrong unit, such as g/L for kg/L.
LIGHTEST, HEAVIEST = Decimal("0.01"), Decimal(25)
COLDEST, HOTTEST = Decimal("-273.15"), Decimal(1000)
# A ninth of a degree Fahrenheit does not end either.
_TEMPERATURE_PLACES = Decimal("1E-9")
# The longest number that fits the text times the longest factor is still exact.
_PRECISE = Context(prec=80)

_LETTER = rf"[^\W\d_{FRACTION_SIGNS}]"
_UNIT = rf"(?:(?i:{CUBIC})|{_LETTER}(?:{_LETTER}|[ .()-])*)"
_PART = re.compile(rf"({NUMBER}) ?({_UNIT})(?:, ?(?!$))?")
# A sign behind a unit, as in "5 lb -8 oz"; "1-1/2 cups" has none, and a hyphen in a name, as in
# "fl-oz", no number behind it.
_MINUS = re.compile(rf"{_LETTER}[.)]? ?[-\u2212] ?[0-9.{FRACTION_SIGNS}]")
_RATIO = re.compile(rf"({NUMBER}) ?({_UNIT}) ?/ ?({_UNIT})")
_SPECIFIC_GRAVITY = re.compile(r"(?:sg|sp\.? ?gr\.?|specific gravity) ?(.*)", re.IGNORECASE)
_GRAVITY_AT = re.compile(
    rf"({DECIMAL}) \(?({DECIMAL}) ?/ ?({DECIMAL}) ?(?:deg ?C|[°\u00ba\u02da]? ?C)?\)?",
    re.IGNORECASE,
)
_TEMPERATURE = re.compile(
    rf"([-\u2212]?) ?({DECIMAL}) ?(?:[°\u00ba\u02da]|degrees?|deg)? ?"
    r"(c|f|k|celsius|fahrenheit|kelvin)",
    re.IGNORECASE,
)
_SCALES = {"c": "degree_celsius", "f": "degree_fahrenheit", "k": "kelvin"}


@dataclass(frozen=True, slots=True)
class Quantity:
    """What was typed, and what it is: exact grams, millilitres or pieces, not rounded."""

    entered: str
    measure: Literal["mass", "volume", "count"]
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Density:
    """Grams per millilitre, the degrees Celsius at which it holds if stated, and what was typed."""

    grams_per_millilitre: Decimal
    celsius: Decimal | None
    entered: str


def parse_quantity(text: str) -> Quantity:
    """Read "4 gal", "2 lb 3 oz", "1 ½ cup" or "60 each"; "oz" after "lb" is by weight.

    Raises QuantityUnreadable, UnitMissing, UnitUnknown, UnitAmbiguous, QuantityNotPositive,
    QuantityTooSmall or QuantityTooLarge.
    """
    typed = tidy(text, QuantityUnreadable)
    refuse_number(typed, QuantityUnreadable, QuantityNotPositive)
    if _MINUS.search(typed):
        raise QuantityNotPositive
    amount = Fraction(0)
    previous: Unit | None = None
    for number, name in _parts(typed):
        unit = unit_named(name, after=previous)
        if previous is not None and not _is_smaller(unit, previous):
            raise QuantityUnreadable(
                "Parts of one quantity go from the larger unit to the smaller of one kind, such "
                'as "2 lb 3 oz"; send different things separately.'
            )
        amount += number * _factor(unit)
        previous = unit
    if amount == 0 or previous is None:
        raise QuantityNotPositive
    return Quantity(typed, previous.measure, _within_bounds(_decimal(amount)))


def parse_density(value: str, at: str | None = None) -> Density:
    """Read "1.26 g/mL", "8.34 lb/gal", "998.2 kg/m3" or "SG 1.2636 20/20", with its temperature.

    A specific gravity needs the two temperatures in degC that it was found at, sample first,
    since the water's density goes into it. Rounded half-even to 12 decimals of g/mL.

    Raises DensityUnreadable, UnitMissing, UnitUnknown, UnitAmbiguous, UnitWrong,
    DensityNotPositive, DensityImplausible, TemperatureUnreadable or TemperatureOutOfRange, with
    the pointer /value or /at.
    """
    with placed("/value"):
        typed = tidy(value, DensityUnreadable)
        gravity = _SPECIFIC_GRAVITY.fullmatch(typed)
        exact, sample = _from_gravity(gravity[1]) if gravity else (_from_ratio(typed), None)
        with localcontext(_PRECISE):
            density = _without_zeros(exact.quantize(DENSITY_PLACES))
        if not LIGHTEST <= density <= HEAVIEST:
            raise DensityImplausible(density=density)
    with placed("/at"):
        celsius = sample if at is None else parse_temperature(at)
        if sample is not None and celsius != sample:
            raise DensityUnreadable(
                Sentence(
                    "The specific gravity was found at {sample} degC, but the temperature given is"
                    " {celsius} degC; give one temperature.",
                    sample=sample,
                    celsius=celsius,
                )
            )
    return Density(density, celsius, typed)


def parse_temperature(text: str) -> Decimal:
    """Read "20 degC", "68 °F" or "293.15 K" as degrees Celsius, to nine decimals.

    Raises TemperatureUnreadable, or TemperatureOutOfRange below absolute zero and above 1000.
    """
    sign, number, scale = _temperature_parts(text)
    celsius = _to_scale(Decimal(number).copy_sign(sign), scale, "degree_celsius")
    if not COLDEST <= celsius <= HOTTEST:
        raise TemperatureOutOfRange(low=COLDEST, high=HOTTEST)
    return celsius


def parse_temperature_difference(text: str) -> Decimal:
    """Read "18 degF" as a difference, in kelvin: 10, without the offset of the scale.

    For tolerances and expansion steps. Raises TemperatureUnreadable.
    """
    sign, number, scale = _temperature_parts(text)
    interval = scale if scale == "kelvin" else f"delta_{scale}"
    return _to_scale(Decimal(number).copy_sign(sign), interval, "kelvin")


def grams_of(
    quantity: Quantity, *, density: Density | None, name: str, mass_each: Decimal | None = None
) -> Decimal:
    """The grams of `quantity` of the material `name`, rounded half-even to six decimals.

    A volume needs the density in g/mL, a count the grams of one piece. Raises DensityMissing,
    UnitWrong, QuantityTooSmall or QuantityTooLarge.
    """
    factor = Decimal(1)
    if quantity.measure == "volume":
        if density is None:
            raise DensityMissing(name=name)
        factor = density.grams_per_millilitre
    elif quantity.measure == "count":
        if mass_each is None:
            raise WeightWanted(name=name)
        factor = mass_each
    with localcontext(_PRECISE):
        grams = (quantity.amount * factor).quantize(SMALLEST)
    return _within_bounds(grams)


def count_of(quantity: Quantity, *, name: str) -> Decimal:
    """The pieces that `quantity` of `name` is. Raises UnitWrong or CountNotWhole."""
    if quantity.measure != "count":
        raise PiecesWanted(name=name)
    if quantity.amount % 1:
        raise CountNotWhole(name=name)
    return quantity.amount.quantize(Decimal(1))


def kept_in(counted: bool) -> str:
    """The unit of every quantity in the ledger: pieces of what is counted, or grams."""
    return "each" if counted else "g"


def priced_per(counted: bool) -> str:
    """What a price is for: one piece of what is counted, or a kilogram."""
    return "each" if counted else "kg"


def millilitres_of(grams: Decimal, density: Density) -> Decimal:
    """The volume of so many grams, in millilitres, rounded half-even to six decimals."""
    with localcontext(_PRECISE):
        return (grams / density.grams_per_millilitre).quantize(SMALLEST)


def convert(text: str, to_unit: str) -> Decimal:
    """`text` in another unit of its own kind, not rounded: convert("1 lb", "kg") is 0.45359237.

    Raises what parse_quantity or parse_temperature raise, and UnitWrong or DensityMissing for a
    unit of another kind.
    """
    scale = _TEMPERATURE.fullmatch(f"0 {to_unit}")
    if scale is not None:
        return _to_scale(parse_temperature(text), "degree_celsius", _SCALES[scale[3][0].lower()])
    quantity, unit = parse_quantity(text), unit_named(tidy(to_unit, QuantityUnreadable))
    if quantity.measure != unit.measure:
        if "count" in (quantity.measure, unit.measure):
            measure = quantity.measure
            wrong = Sentence(
                'A {measure} cannot be given in "{unit}".', measure=measure, unit=to_unit
            )
            raise UnitWrong(wrong)
        raise DensityMissing("A mass becomes a volume, or a volume a mass, only by a density.")
    return _decimal(Fraction(quantity.amount) / _factor(unit))


@functools.cache
def _registry() -> "UnitRegistry[Any]":
    # Importing pint takes longer than all of this module, so it waits for the first quantity.
    from pint import UnitRegistry

    with localcontext(_PRECISE):
        registry: UnitRegistry[Any] = UnitRegistry(None, non_int_type=Decimal)
        registry.load_definitions(DEFINITIONS.strip().splitlines())
    return registry


@functools.cache
def _factor(unit: Unit) -> Fraction:
    with localcontext(_PRECISE):
        factor = _registry().convert(Decimal(1), unit.name, _BASE[unit.measure])
    return Fraction(factor)


def _to_scale(value: Decimal, scale: str, wanted: str) -> Decimal:
    with localcontext(_PRECISE):
        exact = Decimal(_registry().convert(value, scale, wanted))
        return _without_zeros(exact.quantize(_TEMPERATURE_PLACES))


def _without_zeros(value: Decimal) -> Decimal:
    whole = value.to_integral_value()
    return whole + 0 if whole == value else value.normalize()


def _is_smaller(unit: Unit, previous: Unit) -> bool:
    return unit.measure == previous.measure and _factor(unit) < _factor(previous)


def _decimal(exact: Fraction) -> Decimal:
    with localcontext(_PRECISE):
        return Decimal(exact.numerator) / exact.denominator


def _within_bounds(amount: Decimal) -> Decimal:
    if amount >= TOO_LARGE:
        raise QuantityTooLarge
    if amount < SMALLEST:
        raise QuantityTooSmall
    return amount


def _parts(typed: str) -> list[tuple[Fraction, str]]:
    """Numbers with the names of their units, in the order typed."""
    parts, position = [], 0
    while position < len(typed):
        part = _PART.match(typed, position)
        if part is None:
            rest = typed[position:]
            if re.fullmatch(NUMBER, rest):
                raise UnitMissing
            if re.match(r"[0-9.]+ [0-9]", rest):
                raise QuantityUnreadable("Write the number without spaces inside it.")
            raise QuantityUnreadable
        parts.append((number_of(part[1], QuantityUnreadable), part[2]))
        position = part.end()
    return parts


def _from_ratio(typed: str) -> Decimal:
    refuse_number(typed, DensityUnreadable, DensityNotPositive)
    ratio = _RATIO.fullmatch(re.sub(" per ", "/", typed, flags=re.IGNORECASE))
    if ratio is None:
        if re.fullmatch(NUMBER, typed):
            raise UnitMissing('A density needs its units: write it such as "1.26 g/mL".')
        raise DensityUnreadable
    number = number_of(ratio[1], DensityUnreadable)
    mass, volume = unit_named(ratio[2]), unit_named(ratio[3])
    if (mass.measure, volume.measure) != ("mass", "volume"):
        raise UnitWrong('A density is a mass over a volume, such as "1.26 g/mL".', name="a density")
    if not number:
        raise DensityNotPositive
    return _decimal(number * _factor(mass) / _factor(volume))


def _from_gravity(typed: str) -> tuple[Decimal, Decimal]:
    found = _GRAVITY_AT.fullmatch(typed)
    if found is None:
        raise DensityUnreadable(
            "A specific gravity needs the temperatures of sample and water in degC: write it "
            'such as "SG 1.262 20/20", or give the density in g/mL.'
        )
    gravity, sample, water = (Decimal(number) for number in found.groups())
    if sample > HOTTEST:
        raise TemperatureOutOfRange(low=COLDEST, high=HOTTEST)
    with localcontext(_PRECISE):
        return density_from_specific_gravity(gravity, water_density(water)), sample


def _temperature_parts(text: str) -> tuple[Decimal, str, str]:
    typed = tidy(text, TemperatureUnreadable)
    found = _TEMPERATURE.fullmatch(typed)
    if found is None:
        if re.fullmatch(rf"[-\u2212]?{DECIMAL}", typed):
            raise TemperatureUnreadable(
                'A temperature needs its scale: write "20 degC" or "68 degF".'
            )
        raise TemperatureUnreadable
    return Decimal(-1 if found[1] else 1), found[2], _SCALES[found[3][0].lower()]
