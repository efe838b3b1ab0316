"""What is spelled nearly as what somebody looks for: an accent left out, a letter wrong (pure).

It needs nothing of the database, so that every PostgreSQL will do; whoever asks bounds the names.
"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Final, TypeVar

Key = TypeVar("Key")

# So many are suggested; more would be a list to search again.
MOST: Final = 5
# A word of fewer letters must be right; from the second length on, two letters may be wrong.
ONE_WRONG, TWO_WRONG = 4, 8


# What people write between the parts of a name or a number, or leave out: spaces and hyphens.
APART: Final = " \u00a0\u202f-\u2010\u2011\u2012\u2013"


def run_together(text: str) -> str:
    """A text in small letters, and without what people write between its parts or leave out."""
    return text.lower().translate(dict.fromkeys(map(ord, APART)))


def folded(text: str) -> str:
    """A text in small letters and without accents."""
    letters = unicodedata.normalize("NFKD", text.casefold())
    return "".join(one for one in letters if not unicodedata.combining(one))


def nearest(
    called: Iterable[tuple[Key, str]], words: Sequence[str], most: int = MOST
) -> list[tuple[Key, str]]:
    """Those that have every word or one nearly like it, in whatever order; the likeliest first.

    `called` has each thing with all that it is called.
    """
    sought = [folded(word) for word in words if word]
    wrong = cache(_wrong)
    found = []
    for place, (key, text) in enumerate(called):
        plain = folded(text)
        parts = re.findall(r"\w+", plain)
        each = [
            0 if word in plain else min((wrong(word, part) for part in parts), default=len(word))
            for word in sought
        ]
        if all(n <= _allowed(word) for n, word in zip(each, sought, strict=True)):
            found.append((sum(each), place, (key, text)))
    found.sort(key=lambda one: one[:2])
    return [one for _, _, one in found[:most]] if sought else []


def _allowed(word: str) -> int:
    return (len(word) >= ONE_WRONG) + (len(word) >= TWO_WRONG)


def _wrong(word: str, part: str) -> int:
    """How many letters are wrong, too many or missing; a word may also be as far as it is typed.

    What differs in more letters than may be wrong is not compared letter by letter.
    """
    most, letters = _allowed(word), set(word)
    near = (
        one
        for one in {part, part[: len(word)]}
        if abs(len(one) - len(word)) <= most and len(letters ^ set(one)) <= 2 * most
    )
    return min((distance(word, one) for one in near), default=len(word))


def distance(one: str, other: str) -> int:
    """How many letters are to be put in, left out, changed, or swapped with the next one."""
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        last, before, row = before, row, [i]
        for j, beside in enumerate(other, 1):
            least = min(before[j] + 1, row[-1] + 1, before[j - 1] + (letter != beside))
            if i > 1 and j > 1 and (letter, one[i - 2]) == (other[j - 2], beside):
                least = min(least, last[j - 2] + 1)
            row.append(least)
    return row[-1]
