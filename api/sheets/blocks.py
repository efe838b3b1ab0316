"""What a sheet is made of: plain values, which know nothing of HTML or PDF."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar

from django.utils.translation import gettext as said

from api.sheets.figures import PLAIN, Hand

PAPERS = {"a4": (210, 297), "letter": (216, 279)}
# What has so few rows is not parted by the end of a page: most of it is room to write.
WHOLE = 8


@dataclass(frozen=True, slots=True)
class Code:
    """A QR code, and what stands below it for people."""

    content: str
    below: str


@dataclass(frozen=True, slots=True)
class Heading:
    """The title of a part."""

    kind: ClassVar[str] = "heading"
    text: str


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; `strong` is for what must not be overlooked."""

    kind: ClassVar[str] = "text"
    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Fields:
    """Names and values beside each other; an empty value is room to write."""

    kind: ClassVar[str] = "fields"
    rows: Sequence[tuple[str, str]]

    @property
    def whole(self) -> bool:
        return len(self.rows) <= WHOLE


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under headings; empty cells are room to write. `widths` are parts of the whole.

    `right` are the columns of figures, by number. `small` letters are for many columns.
    """

    kind: ClassVar[str] = "table"
    head: Sequence[str]
    widths: Sequence[int]
    rows: Sequence[Sequence[str]]
    right: frozenset[int] = frozenset()
    small: bool = False

    @property
    def whole(self) -> bool:
        return len(self.rows) <= WHOLE

    @property
    def percents(self) -> list[int]:
        return [100 * width // sum(self.widths) for width in self.widths]


@dataclass(frozen=True, slots=True)
class Card:
    """A label to cut out."""

    title: str
    mark: str
    rows: Sequence[tuple[str, str]]
    code: Code | None = None


@dataclass(frozen=True, slots=True)
class Cards:
    """Labels, two beside each other."""

    kind: ClassVar[str] = "cards"
    cards: Sequence[Card]


Block = Heading | Text | Fields | Table | Cards


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet: its title, what it is about, and its blocks; `name` is the file's.

    An empty `foot` says what every sheet says. `hand` is how whoever prints it writes.
    """

    title: str
    about: str
    name: str
    printed_at: datetime
    blocks: Sequence[Block] = field(default=())
    paper: str = "a4"
    foot: str = ""
    hand: Hand = PLAIN

    @property
    def note(self) -> str:
        """What stands at the foot."""
        return self.foot or said("A record and calculator, not a safety assessment.")

    @property
    def printed(self) -> str:
        """When it was printed, where the co-op is."""
        return said("Printed %(moment)s") % {"moment": self.hand.moment(self.printed_at)}
