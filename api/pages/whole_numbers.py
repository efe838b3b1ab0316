"""Whole numbers of an address or of a hidden field, which anybody can write by hand."""

from typing import Final

# A list has no more pages than this, and nothing was changed more often.
MOST_PAGES: Final = 1000
MOST_VERSIONS: Final = 1_000_000_000


def whole_in(text: str, most: int, otherwise: int = 0) -> int:
    """The number, at most so many; `otherwise` where it is none.

    What has more digits is not read: of thousands of digits Python makes no number.
    """
    if not text.isdecimal():
        return otherwise
    return min(int(text), most) if len(text) <= len(str(most)) else most


def page_in(text: str) -> int:
    """Which page of a list is asked for, the first is 0."""
    return whole_in(text, MOST_PAGES)
