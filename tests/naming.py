"""Names of others, and what a program asks the database for when one is typed.

A word that nobody uses is typed somewhere; if it stands in a query then, what is typed there is
looked up in the tables of that query. Everything that others keep in those can then be typed
instead, and beside it the same with its last sign changed, which nobody has.
"""

import itertools
import re
import string
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import psycopg
import pytest
from psycopg import sql

from tests import marking
from tests.exchanging import recalled, shared
from tests.factories import Workshop, open_workshop
from tests.filling import fill
from tests.marking import ABROAD, HIDDEN
from tests.pages.fields import ID
from tests.pages.shops import planned_ahead, work

WORD: Final = "Zqxvyj"
READS: Final = re.compile(r"\s*(?:select|with)\b")
LONGEST: Final = 60
SIGNS: Final = (string.ascii_lowercase, string.ascii_uppercase, string.digits)


@dataclass(frozen=True)
class Names:
    """By table what others alone have, one of each column and kind of others; and all there is."""

    foreign: Mapping[str, list[str]]
    own: Mapping[str, set[str]]
    known: frozenset[str]

    def unlike(self, text: str) -> str:
        """The same with its last letter or digit changed, so that nobody has it.

        Of a short one each sign may be somebody's: then it is repeated until none has that.
        """
        place, others = max(
            (at, signs) for at, one in enumerate(text) for signs in SIGNS if one in signs
        )
        made = (
            f"{text[:place]}{sign * times}{text[place + 1 :]}".casefold()
            for times in itertools.count(1)
            for sign in others
        )
        return next(one for one in made if one not in self.known)

    def looked_up(self, ask: Callable[[], object]) -> list[str]:
        """What others have in the tables that are asked for the word, when this is done."""
        said: list[str] = []
        execute = psycopg.Cursor.execute

        def heard(cursor: Any, query: Any, values: Any = None, **how: Any) -> Any:
            said.append(f"{query} {values}".casefold())
            return execute(cursor, query, values, **how)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(psycopg.Cursor, "execute", heard)
            ask()
        asked = [one for one in said if READS.match(one) and WORD.casefold() in one]
        return self._of(table for table in self.foreign if any(table in one for one in asked))

    def beside(self, suggested: str) -> list[str]:
        """What others have in the tables in which this is kept, which a field suggests."""
        name = suggested.casefold()
        return self._of(table for table, texts in self.own.items() if name in texts)

    def _of(self, tables: Iterable[str]) -> list[str]:
        return list(dict.fromkeys(text for one in tables for text in self.foreign.get(one, ())))


def three_makers() -> tuple[Workshop, dict[str, str]]:
    """A maker with its things by kind, another of its co-op, and one of another co-op.

    What the others call theirs is nothing like what the first one does.
    """
    shop = open_workshop("North Bench")
    other = open_workshop("Mill Bench", coop=shop.coop)
    makers = {shop: 0, other: 71717, open_workshop("Quay Bench"): 82828}
    ids, *_ = [work(one, number) for one, number in makers.items()]
    for one, number in makers.items():
        planned_ahead(one, number)
        fill(one)
    for giver, taker in ((shop, other), (other, shop)):
        recalled(giver, taker)
        shared(giver, taker)
    return shop, ids


def names_around(admin: psycopg.Connection[Any], shop: Workshop) -> Names:
    rows = marking.whose_rows(admin, shop)
    foreign: dict[str, list[str]] = {}
    theirs: list[tuple[str, set[str]]] = []
    own: dict[str, set[str]] = {}
    for model, column in marking.texts():
        table, name = model._meta.db_table, column.column
        asked = sql.SQL("select distinct {}::text from {} where id = any(%s)").format(
            sql.Identifier(name), sql.Identifier(table)
        )
        for letter, ids in rows.get(table, {}).items():
            texts = {text for (text,) in admin.execute(asked, [ids]) if text and _is_name(text)}
            if letter in {HIDDEN, ABROAD}:
                theirs.append((table, texts))
            else:
                own.setdefault(table, set()).update(text.casefold() for text in texts)
    seen = set().union(*own.values())
    for table, texts in theirs:
        alone = sorted(text for text in texts if text.casefold() not in seen)
        foreign.setdefault(table, []).extend(alone[:1])
    unseen = {text.casefold() for _, texts in theirs for text in texts}
    return Names(foreign, own, frozenset(seen | unseen))


def _is_name(text: str) -> bool:
    """What fits into a field, and is neither JSON nor an id."""
    short = len(text) <= LONGEST and "\n" not in text and text[0] not in '{["'
    return short and not ID.search(text) and any(sign in signs for sign in text for signs in SIGNS)
