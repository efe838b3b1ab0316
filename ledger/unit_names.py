"""The names of units as people write them, and which of them mean too many things.

A spelling is compared in lower case, without points and brackets, in the singular. "gal", "qt",
"pt" and "fl oz" are those of the US; the imperial ones must be named.
"""

import difflib
import re
from typing import Literal, NamedTuple

from ledger.errors import (
    Sentence,
    UnitAmbiguous,
    UnitUnknown,
)

Measure = Literal["mass", "volume", "count"]


class Unit(NamedTuple):
    """A unit's name in the registry, and what it measures."""

    name: str
    measure: Measure


# Cubic metres and centimetres are the only units whose name holds a digit.
CUBIC = r"c?m(?:3|³|\^3)"

# The first spelling of each unit is the one that is suggested.
_SPELLINGS: dict[Measure, dict[str, str]] = {
    "mass": {
        "gram": "g, gm, gram, gramme",
        "kilogram": "kg, kilo, kilogram, kilogramme",
        "milligram": "mg, milligram, milligramme",
        "microgram": "mcg, ug, microgram",
        "tonne": "tonne, metric ton",
        "pound": "lb, lbm, lb avdp",
        "ounce": "oz wt, oz avdp, wt oz, avdp oz",
        "avoirdupois_dram": "dr avdp, avdp dr",
        "grain": "grain",
        "troy_ounce": "oz troy, troy oz, oz t, ozt",
        "stone": "stone, st",
        "short_hundredweight": "short cwt, cwt short, us cwt, us cwt short",
        "long_hundredweight": "long cwt, cwt long, imp cwt, imp cwt long",
        "short_ton": "short ton, ton short, us ton",
        "long_ton": "long ton, ton long, imp ton",
    },
    "volume": {
        "millilitre": "mL, millilitre, milliliter, cc, cm3, cu cm",
        "microlitre": "uL, microlitre, microliter",
        "centilitre": "cL, centilitre, centiliter",
        "decilitre": "dL, decilitre, deciliter",
        "litre": "L, litre, liter, ltr, lt",
        "hectolitre": "hL, hectolitre, hectoliter",
        "cubic_metre": "m3, cubic metre, cubic meter, cu m",
        "gallon": "gal",
        "quart": "qt",
        "pint": "pt",
        "cup": "cup",
        "fluid_ounce": "fl oz, floz, oz fl",
        "tablespoon": "tbsp, tablespoon, table spoon, tb",
        "teaspoon": "tsp, teaspoon, tea spoon",
        "fluid_dram": "fl dr",
        "imperial_gallon": "imp gal",
        "imperial_quart": "imp qt",
        "imperial_pint": "imp pt",
        "imperial_fluid_ounce": "imp fl oz, imp floz, imp oz fl",
    },
    "count": {
        "each": "each, ea, piece, pc, pce, unit, count, item",
        "pair": "pair, pr",
        "dozen": "dozen, doz, dz",
    },
}
# Measures of the kitchen and the trade that the US defines; the others are the same everywhere.
_US_VOLUMES = "gal, qt, pt, cup, fl oz, floz, oz fl, tbsp, tablespoon, tsp, teaspoon, fl dr"

_WORDS = {
    "ounce": "oz",
    "fluid": "fl",
    "weight": "wt",
    "avoirdupois": "avdp",
    "av": "avdp",
    "dram": "dr",
    "drachm": "dr",
    "pound": "lb",
    "hundredweight": "cwt",
    "gallon": "gal",
    "quart": "qt",
    "pint": "pt",
    "imperial": "imp",
    "uk": "imp",
    "british": "imp",
    "american": "us",
}

# "t" is the tonne's symbol and a cook's teaspoon, "gr" the grain's and, to many, the gram's.
_AMBIGUOUS = {
    "ton": '"tonne", "short ton" or "long ton"',
    "cwt": '"short cwt" (100 lb) or "long cwt" (112 lb)',
    "dr": '"fl dr" or "dr avdp"',
    "gr": '"g" or "grain"',
    "t": '"tonne", "tsp" or "tbsp"',
    "c": '"cup" or "cL"',
    "Mg": '"mg" or "tonne"',
}

_UNITS: dict[str, Unit] = {}
_PREFERRED: dict[Unit, str] = {}
for _measure, _units in _SPELLINGS.items():
    for _name, _listed in _units.items():
        _spellings = _listed.split(", ")
        _PREFERRED[Unit(_name, _measure)] = _spellings[0]
        _UNITS.update((spelling.lower(), Unit(_name, _measure)) for spelling in _spellings)
_UNITS.update((f"us {spelling}", _UNITS[spelling]) for spelling in _US_VOLUMES.split(", "))


def unit_named(typed: str, *, after: Unit | None = None) -> Unit:
    """The unit that `typed` names; "oz" counts as weight when it comes `after` pounds or stones.

    Raises UnitAmbiguous or UnitUnknown.
    """
    typed = typed.strip()
    spelling = _spelling(typed)
    if spelling == "oz" and after is not None and after.name in ("pound", "stone"):
        return _UNITS["oz wt"]
    if spelling in ("oz", "us oz", "imp oz"):
        raise UnitAmbiguous(unit=typed)
    meanings = _AMBIGUOUS.get(typed, _AMBIGUOUS.get(spelling))
    if meanings is not None:
        raise UnitAmbiguous(
            Sentence(
                '"{typed}" has more than one meaning: write {meanings}.',
                typed=typed,
                meanings=meanings,
            ),
            unit=typed,
        )
    unit = _UNITS.get(spelling)
    if unit is None:
        raise _unknown(typed, spelling)
    return unit


def _spelling(typed: str) -> str:
    """One way of writing for all the ways that make no difference."""
    plain = typed.lower().replace("³", "3").replace("^", "")
    plain = plain.replace("\N{MICRO SIGN}", "u").replace("\N{GREEK SMALL LETTER MU}", "u")
    plain = re.sub(r"[.()\s-]+", " ", plain)
    plain = re.sub(r"\bu (s|k)\b", r"u\1", plain)
    words = [_WORDS.get(word, word) for word in map(_singular, plain.split())]
    system = [word for word in words if word in ("us", "imp")]
    # "US liquid pint" is the pint that we mean anyway; there is no dry one here.
    return " ".join(system + [w for w in words if w not in ("us", "imp", "liq", "liquid")])


def _singular(word: str) -> str:
    plural = len(word) > 2 and word.endswith("s") and word not in _WORDS
    return word[:-1] if plural else word


def _unknown(typed: str, spelling: str) -> UnitUnknown:
    if "drop" in spelling.split():
        return UnitUnknown("A drop has no fixed size: weigh it, or give mL.", unit=typed)
    suggestions = _UNITS | {
        word: _UNITS[short] for word, short in _WORDS.items() if short in _UNITS
    }
    close = difflib.get_close_matches(spelling, suggestions, n=1, cutoff=7 / 10)
    if not close:
        return UnitUnknown(unit=typed)
    return UnitUnknown(
        Sentence(
            'The unit "{typed}" is not known; did you mean "{meant}"?',
            typed=typed,
            meant=_PREFERRED[suggestions[close[0]]],
        ),
        unit=typed,
    )
