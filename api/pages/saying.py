"""Sentences of the domain in the reader's language: translated here, at the edge, and nowhere else.

The ledger writes them in English, which the API answers, and a `Sentence` remembers its template.
Here the template is looked up in the catalogue of the reader's language, and what stands in its
places is written as the reader writes figures and days.
"""

import string
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from django.utils.translation import gettext

from api.pages.words import STATUSES
from api.sheets.figures import Hand
from ledger.amounts import Amount
from ledger.errors import Sentence

# In these places stands one of the domain's own fixed names, and not a name that people gave.
FIXED: Final = {
    *(
        "state",
        "verb",
        "role",
        "measure",
        "formulas",
        "wanted_unit",
        "spread_by",
    ),
}
# In these stands how a lot stands, which a reader hears as a page says it: on hold, and not hold.
STANDINGS: Final = {"status", "keeps"}


class _Places(string.Formatter):
    """Fills the places of a template for a reader."""

    def __init__(self, reader: Hand) -> None:
        self.reader = reader

    def format_field(self, value: Any, format_spec: str) -> str:
        if isinstance(value, Sentence):
            return in_words(value, self.reader)
        if isinstance(value, Decimal):
            # With the digits that the domain gives it, by what it is or by how it is written.
            written = Decimal(format(value, format_spec))
            return self.reader.number(written, max(0, -int(written.as_tuple().exponent)))
        if isinstance(value, datetime):
            return self.reader.moment(value)
        if isinstance(value, date):
            return self.reader.day(value)
        if isinstance(value, Amount):
            return self.reader.quantity(value.quantity, value.counted)
        return str(super().format_field(value, format_spec))


def _place(name: str, value: Any) -> Any:
    """What stands in a place: pieces are called so, and a fixed name is translated."""
    if name == "unit" and value == "each":
        return gettext("pieces")
    if name in STANDINGS and value in STATUSES:
        return str(STATUSES[value])
    return gettext(value) if name in FIXED and isinstance(value, str) and value else value


def in_words(text: str, reader: Hand) -> str:
    """A sentence of the domain as its reader's language has it; one that is not known stays."""
    if not isinstance(text, Sentence):
        return gettext(text) if text else ""
    places = {name: _place(name, value) for name, value in text.places.items()}
    try:
        return _Places(reader).vformat(gettext(text.template), (), places)
    except (LookupError, ValueError):
        # A catalogue that names a place which is not there must not take the refusal away.
        return _Places(reader).vformat(text.template, (), places)
