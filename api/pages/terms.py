"""Words of the trade that may be new: what they mean, told once beneath a working that has them."""

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from formulas.explaining import Figure

# By how the ledger names a figure, a fact or what is in a way of reckoning; "_" is a space there.
TERMS: Final[Mapping[str, Promise | str]] = {
    "landed_cost": _(
        "Landed cost: what goods cost once they stand on the shelf, with their share of freight,"
        " duty and fees."
    ),
    "layer": _("Layer: so much in store that came in at one cost, until it is used up."),
    "marc": _("Marc: what is strained out of an infusion, wet with what it keeps."),
    "retention": _(
        "Retention: how many grams of liquid a gram of what is strained out keeps, dry as it went"
        " in."
    ),
    "heel": _("Heel: what stays at the bottom of a drum that was drawn off."),
    "overhead": _("Overhead: what the workshop costs whatever is made, such as its rent."),
    "moving_average": _(
        "Moving average: all that is in store costs the same, and each delivery moves it."
    ),
    "largest_remainder": _(
        "Largest remainder: the last coins go where the most was cut off, so that all of it adds"
        " up."
    ),
    "net_realisable_value": _(
        "Net realisable value: what it will bring, less what completing and selling it still costs."
    ),
}


def terms_of(figure: Figure) -> list[Promise | str]:
    """What the words in a working mean, each once."""
    text = "\n".join(_words((figure,))).replace("_", " ")
    there = re.compile(r"\b(" + "|".join(TERMS).replace("_", " ") + r")s?\b")
    found = {word.replace(" ", "_") for word in there.findall(text)}
    return [told for word, told in TERMS.items() if word in found]


def _words(figures: Iterable[Figure]) -> Iterator[str]:
    for one in figures:
        yield from (one.name, one.how, *one.facts)
        yield from _words(one.parts)
