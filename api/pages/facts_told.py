"""What a figure of a working was reckoned from, in its reader's words and numbers."""

import re
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from api.pages.rule_words import overrode
from api.pages.saying import in_words
from api.pages.words import FACTS, OF_WHAT, worded
from api.sheets.figures import Hand
from formulas.variances import Direction
from ledger.errors import Sentence

# A number that is not whole, and its unit if it has one.
FIGURE: Final = re.compile(r"(-?\d+\.\d+)(?: ([^\d\s]+))?")
# What people or their papers call things; it stays, though it looks like a number.
CALLED: Final = {
    *("batch", "bill", "by", "count", "deviation", "formula", "from", "lot"),
    *("reason", "reference", "supplier", "supplier_lot"),
}
MOMENTS: Final = {"at", "finished_at", "received_at"}
# What a variance means for the maker.
DIRECTIONS: Final[Mapping[Direction, Promise | str]] = {
    Direction.ADVERSE: _("dearer"),
    Direction.FAVOURABLE: _("cheaper"),
    Direction.NONE: _("no difference"),
}


def told(facts: Mapping[str, str], reader: Hand) -> str:
    """What a figure was reckoned from, in words; an id says nothing to a person."""
    shown = {
        name: _short(name, fact, reader) for name, fact in facts.items() if fact and name != "entry"
    }
    return " · ".join(f"{FACTS.get(name, name)}: {fact}" for name, fact in shown.items())


def reckoned(how: str, reader: Hand) -> str:
    """The way in which a figure was reckoned."""
    return in_words(how, reader) if isinstance(how, Sentence) else worded(how)


def _short(name: str, fact: str, reader: Hand) -> str:
    """A figure without the zeros of its column; pieces are called so."""
    if name in CALLED:
        return fact
    if name in MOMENTS:
        return reader.moment(datetime.fromisoformat(fact))
    if name == "direction":
        return str(DIRECTIONS[Direction(fact)])
    if name == "density_of":
        return str(OF_WHAT.get(fact, fact))
    if name == "overrode":
        return overrode(fact.split(", "))
    if name == "quantity":
        amount, _space, unit = fact.partition(" ")
        return f"{reader.number(Decimal(amount))} {worded(unit)}".rstrip()
    if name == "entered" and fact.endswith(" each"):
        return reader.written(f"{fact.removesuffix('each')}{worded('each')}")
    found = FIGURE.fullmatch(fact)
    if found and name != "entered":
        return f"{reader.number(Decimal(found[1]))} {worded(found[2] or '')}".rstrip()
    return reader.written(fact)
