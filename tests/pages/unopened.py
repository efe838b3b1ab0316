"""The figures of pages that open to no working, each with its reason.

By the address of a page and what the figure is called there: a cell by its term or the head of its
column, anything else by the heading above it; `*` stands for any.
"""

from collections.abc import Iterable, Iterator
from fnmatch import fnmatchcase
from typing import Final

from tests.pages.opening import Figure

# What somebody typed, weighed or counted stands for itself.
TYPED: Final = "somebody typed it"
WEIGHED: Final = "somebody weighed or counted it"
# What has its working elsewhere, or is part of one.
LINE: Final = "a line of the working that the sum on this page opens to"
ADDED_UP: Final = "added up, or taken from each other, in what stands beside it"
LED_TO: Final = "its row leads to where it opens"
TOLD: Final = "as another maker told it; the books of others are not shown"
RECORD: Final = "an entry of the books, to which workings lead"

UNOPENED: Final[dict[tuple[str, str], str]] = {
    ("/batches/<uuid:id>", "Came out"): WEIGHED,
    ("/batches/<uuid:id>", "Weighed"): WEIGHED,
    ("/batches/<uuid:id>/fill", "under"): ADDED_UP,
    ("/batches/<uuid:id>/rework", "At most"): TYPED,
    ("/batches/<uuid:id>/units", "Nominal"): TYPED,
    ("/batches/<uuid:id>/units", "under Given away"): WEIGHED,
    ("/claims/<uuid:id>", "under"): TYPED,
    ("/containers", "May be filled"): LED_TO,
    ("/containers", "More than it says"): LED_TO,
    ("/counts/<uuid:id>", "As in the books"): ADDED_UP,
    ("/deposits", "a row of"): TYPED,
    ("/entries/<uuid:id>", "How much"): RECORD,
    ("/entries/<uuid:id>", "Worth"): RECORD,
    ("/fills/<uuid:id>", "Bulk that went in"): WEIGHED,
    ("/fills/<uuid:id>", "Left in the filler"): WEIGHED,
    ("/fills/<uuid:id>", "Nominal"): TYPED,
    ("/fills/<uuid:id>", "Rejected"): WEIGHED,
    ("/fills/<uuid:id>", "Samples"): WEIGHED,
    ("/fills/<uuid:id>", "under Given away"): WEIGHED,
    ("/formulas/<uuid:id>", "Percent"): TYPED,
    ("/formulas/<uuid:id>/next", "under So far"): ADDED_UP,
    ("/formulas/<uuid:id>/stand-ins", "under"): TYPED,
    ("/formulas/<uuid:id>/standard", "Should cost"): TYPED,
    ("/formulas/<uuid:id>/standard", "So much"): TYPED,
    ("/formulas/<uuid:id>/versions", "version *"): TYPED,
    ("/formulas/new", "under So far"): ADDED_UP,
    ("/lots/<uuid:id>", "In or out"): RECORD,
    ("/lots/<uuid:id>", "Left"): ADDED_UP,
    ("/lots/<uuid:id>/emptying", "Filled into each"): WEIGHED,
    ("/lots/<uuid:id>/results", "a row of"): TYPED,
    ("/materials/<uuid:id>", "Goods"): LED_TO,
    ("/materials/<uuid:id>", "Offered"): LED_TO,
    ("/materials/<uuid:id>", "On the shelf"): LED_TO,
    ("/materials/<uuid:id>", "Pack"): TYPED,
    ("/materials/<uuid:id>/container", "Sold as holding"): TYPED,
    ("/movements/<uuid:id>", "You are owed *"): RECORD,
    ("/offers/<uuid:id>", "A pack costs"): TYPED,
    ("/offers/<uuid:id>", "A pack costs today"): TYPED,
    ("/offers/<uuid:id>", "under"): TYPED,
    ("/order-rounds/<uuid:id>", "a row of Pledged by all"): TOLD,
    ("/order-rounds/<uuid:id>", "a row of What you get and pay"): LINE,
    ("/order-rounds/<uuid:id>", "a row of What you pledged"): TYPED,
    ("/order-rounds/<uuid:id>/hand-out", "a row of *"): LINE,
    ("/order-rounds/<uuid:id>/late-bills", "a row of *"): LINE,
    ("/order/plan", "a row of *"): LINE,
    ("/order/plan", "under *"): LINE,
    ("/products/<uuid:id>/standard", "Should cost"): TYPED,
    ("/products/<uuid:id>/standard", "So much"): TYPED,
    ("/recall-notices/<uuid:id>", "Came to you"): TOLD,
    ("/recall-notices/<uuid:id>", "Went there"): TOLD,
    ("/recall-notices/<uuid:id>", "a row of The answer"): TOLD,
    ("/receipts/<uuid:id>", "a row of Billed later"): TYPED,
    ("/shares/<uuid:id>", "A kilogram"): TOLD,
    ("/shares/<uuid:id>", "Still to be had"): TOLD,
    ("/suppliers/<uuid:id>", "A kilogram, or a piece"): LED_TO,
    ("/suppliers/<uuid:id>", "A pack costs"): TYPED,
    ("/suppliers/<uuid:id>", "An order comes to at least"): TYPED,
    ("/suppliers/<uuid:id>", "Freight"): TYPED,
    ("/suppliers/<uuid:id>", "Freight is free from"): TYPED,
    ("/suppliers/<uuid:id>", "Pack"): TYPED,
    ("/suppliers/<uuid:id>/terms", "An order comes to at least"): TYPED,
    ("/suppliers/<uuid:id>/terms", "At least"): TYPED,
    ("/suppliers/<uuid:id>/terms", "Free from"): TYPED,
    ("/suppliers/<uuid:id>/terms", "Freight"): TYPED,
    ("/suppliers/<uuid:id>/terms", "Freight is free from"): TYPED,
    ("/transfers/<uuid:id>", "under"): TYPED,
}
# The same of pages that the demo has not, and a workshop of the tests has.
AT_WORK: Final[dict[tuple[str, str], str]] = {
    ("/counts/<uuid:id>/close", "under *"): ADDED_UP,
    ("/materials/<uuid:id>", "One piece weighs"): TYPED,
}
# Whoever acts for the co-op is told sums of its makers, and nothing of what they come from.
FOR_ALL: Final[dict[tuple[str, str], str]] = {
    ("/order-rounds/<uuid:id>", "Alone"): TOLD,
    ("/order-rounds/<uuid:id>", "Saved"): TOLD,
    ("/order-rounds/<uuid:id>", "Together"): TOLD,
    ("/order-rounds/<uuid:id>", "With leftover"): TOLD,
    ("/order-rounds/<uuid:id>", "a row of *"): TOLD,
    ("/settlement", "a row of *"): TOLD,
}


def without_reason(found: Iterable[Figure], *reasons: dict[tuple[str, str], str]) -> list[Figure]:
    """Those of the figures that do not open, and for which there is no reason why."""
    closed = [one for one in found if not one.to]
    return [one for one in closed if not any(list(_of(one, known)) for known in reasons)]


def reasons_of(found: Iterable[Figure], known: dict[tuple[str, str], str]) -> set[tuple[str, str]]:
    """The reasons that hold for any of the figures that do not open."""
    return {key for one in found if not one.to for key in _of(one, known)}


def _of(one: Figure, known: dict[tuple[str, str], str]) -> Iterator[tuple[str, str]]:
    return (
        (route, label)
        for route, label in known
        if route == one.route and fnmatchcase(one.label, label)
    )
