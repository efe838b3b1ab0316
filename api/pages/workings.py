"""The workings of figures that a page makes itself: lines that add up, each opened further.

A figure of a page is a link to its working. With scripts the working is put beneath the figures
that it is about, without them it is a page of its own, and either has its file.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.http import HttpResponse
from django.utils.http import urlencode
from django.utils.translation import gettext as said
from django.utils.translation import ngettext

from api.pages import tables
from api.pages.facts_told import reckoned, told
from api.pages.screen import Screen
from api.pages.terms import terms_of
from api.pages.words import worded
from api.sheets.figures import Plain
from formulas.explaining import Figure

# So many lines are shown; the others are one line, and stand in the file.
MOST_LINES: Final = 60
ZERO: Final = Decimal(0)
# In a file figures are as programs read them.
PLAIN: Final = Plain()


@dataclass(frozen=True, slots=True)
class Line(Figure):
    """A figure that is called so in the reader's words already; `to` is where it opens further."""

    to: str = ""
    said: bool = True


def with_rest(lines: Iterable[Line], whole: Decimal, others: int, unit: str) -> tuple[Line, ...]:
    """The lines that are shown, and as one what so many others come to, so that all add up."""
    shown = tuple(lines)
    if others <= 0:
        return shown
    name = ngettext("%(n)d other, in the file", "%(n)d others, in the file", others)
    rest = whole - sum((one.amount or ZERO for one in shown), ZERO)
    return (*shown, Line(name % {"n": others}, rest, unit))


def address(*place: object, **asked: object) -> str:
    """An address of this application; what is None or empty is not asked."""
    path = "/" + "/".join(str(part) for part in place)
    kept = {name: str(value) for name, value in asked.items() if value not in (None, "")}
    return f"{path}?{urlencode(kept)}" if kept else path


def as_table(figure: Figure) -> tables.Table:
    """A working as a file: its lines one beneath the other, each with what it is part of."""
    columns = [said("What"), said("Amount"), said("Unit"), said("From"), said("Part of")]
    return tables.Table("working", columns, list(_rows(figure.parts or (figure,), "")))


def _rows(figures: Iterable[Figure], whole: str) -> Iterator[tuple[tables.Cell, ...]]:
    for one in figures:
        name = one.name if isinstance(one, Line) else worded(one.name)
        about = " · ".join(filter(None, (reckoned(one.how, PLAIN), told(one.facts, PLAIN))))
        yield name, one.amount, worded(one.unit), about, whole
        yield from _rows(one.parts, name)


class Working(Screen):
    """The working of a figure; opened in place."""

    template = "pages/working_page.html"
    fragment = "pages/working.html"

    @property
    def most(self) -> int:
        """How many lines are wanted: all that a file holds, or those of a page."""
        return tables.MOST_ROWS + 1 if tables.asked(self.request) else MOST_LINES

    def opened(self, figure: Figure, back: str, of: str = "") -> HttpResponse:
        """The working, or its lines as a file.

        Where it stands alone, its heading says also what it is `of`: a lot, a batch, a material.
        """
        files = {"": lambda: as_table(figure)}
        terms = terms_of(figure)
        return self.show(figure=figure, terms=terms, back=back, of=of, files=files, filed=True)
