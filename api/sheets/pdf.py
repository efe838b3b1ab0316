"""A sheet as PDF, drawn with a font that comes with it, so that every page looks the same anywhere.

The font has Latin, Greek and Cyrillic. A character that it lacks is printed as U+FFFD, a question
mark in a black diamond, and the foot of the page says so; the HTML of the sheet has it.
"""

import io
import logging
from itertools import zip_longest
from pathlib import Path
from typing import Final

from django.utils.translation import get_language
from django.utils.translation import gettext as said
from fpdf import FPDF
from fpdf.enums import Align, TableBordersLayout, XPos, YPos
from fpdf.fonts import FontFace

from api.sheets.blocks import PAPERS, Block, Card, Cards, Fields, Heading, Sheet, Table, Text
from api.sheets.codes import png

FONTS: Final = Path(__file__).parent / "fonts"
FACE: Final = "DejaVuSansCondensed"
REPLACEMENT: Final = "\ufffd"
PAGES: Final = "{}"
CARD_LINE: Final = 3.8
MARGIN, CARD_HEIGHT, GAP, CODE = 14, 56, 4, 27
TITLE, ROW = 9, 7.5
GREY, PALE = (232, 232, 232), (243, 243, 243)
# What it says of the subset of a font is of no use to whoever prints.
logging.getLogger("fontTools").setLevel(logging.ERROR)


def render(sheet: Sheet) -> bytes:
    """The sheet as PDF."""
    page = _Page(sheet)
    page.add_page()
    page.head()
    for block, follows in zip_longest(sheet.blocks, sheet.blocks[1:]):
        page.draw(block, follows)
    return bytes(page.output())


class _Page(FPDF):
    """Where the sheet is drawn; lengths are millimetres."""

    def __init__(self, sheet: Sheet) -> None:
        super().__init__(format=PAPERS[sheet.paper])
        self.sheet, self.replaced = sheet, False
        self.add_font(FACE, fname=FONTS / f"{FACE}.ttf")
        self.add_font(FACE, style="B", fname=FONTS / f"{FACE}-Bold.ttf")
        # Both faces have the same characters.
        self.known = frozenset(getattr(self.fonts[FACE.lower()], "cmap", {}))
        self.set_margins(MARGIN, MARGIN)
        self.set_auto_page_break(True, MARGIN + 4)
        self.set_title(self.clean(f"{sheet.title}: {sheet.about}"))
        self.set_lang(get_language() or "en")
        self.set_creation_date(sheet.printed_at)
        self.set_line_width(0.18)
        self.c_margin = 0
        self.alias_nb_pages(PAGES)

    def clean(self, text: str) -> str:
        """The text in characters that can be printed, in one line."""
        flat = " ".join(text.split()) if not text.isprintable() else text
        shown = "".join(one if ord(one) in self.known else REPLACEMENT for one in flat)
        self.replaced |= shown != flat
        return shown

    def face(self, size: float, *, bold: bool = False) -> None:
        self.set_font(FACE, "B" if bold else "", size)

    def line(self, text: str, height: float) -> None:  # type: ignore[override]
        """A paragraph over the whole width."""
        self.multi_cell(
            0, height, self.clean(text), align=Align.L, new_x=XPos.LMARGIN, new_y=YPos.NEXT
        )

    def head(self) -> None:
        self.face(16, bold=True)
        self.line(self.sheet.title, 7.5)
        self.face(10)
        self.line(self.sheet.about, 5)
        self.ln(1)
        self.cell(0, 0.6, "", border="T", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.ln(1.5)

    def footer(self) -> None:
        self.set_y(-MARGIN)
        self.face(7.5)
        parts = [self.sheet.note, f"{self.sheet.printed}."]
        if self.replaced:
            parts.append(said("Characters that the font lacks are printed as \ufffd."))
        self.cell(self.epw * 0.86, 4, self.clean(" ".join(parts)))
        # How many pages there are is only known at the end, and has the room of this mark.
        place = {"page": self.page_no(), "pages": PAGES}
        self.cell(0, 4, said("Page %(page)s of %(pages)s") % place, align=Align.R)

    def draw(self, block: Block, follows: Block | None) -> None:
        """One block, below what is there, and before what follows."""
        if isinstance(block, Heading):
            self.heading(block, follows)
        elif isinstance(block, Text):
            self.text_block(block)
        elif isinstance(block, Fields):
            self.fields(block)
        elif isinstance(block, Table):
            self.table_block(block)
        else:
            self.cards(block)

    def heading(self, block: Heading, follows: Block | None) -> None:
        self.ln(2)
        # A title alone at the end of a page helps nobody.
        rows = 1
        if isinstance(follows, Fields | Table) and follows.whole:
            rows = len(follows.rows)
        if self.will_page_break(TITLE + ROW * (rows + 1)):
            self.add_page()
        self.face(11.5, bold=True)
        self.line(block.text, 6)
        self.ln(0.5)

    def text_block(self, block: Text) -> None:
        self.face(9.5, bold=block.strong)
        self.multi_cell(
            0,
            4.8,
            self.clean(block.text),
            border=1 if block.strong else 0,
            padding=2 if block.strong else 0,
            align=Align.L,
            new_x=XPos.LMARGIN,
            new_y=YPos.NEXT,
        )
        self.ln(1.2)

    def fields(self, block: Fields) -> None:
        self.face(9.5)
        with self.table(
            col_widths=(30, 70),
            first_row_as_headings=False,
            line_height=4.6,
            padding=(0.9, 1.5),
            text_align=Align.L,
            min_row_height=6.5,
        ) as table:
            for name, value in block.rows:
                row = table.row()
                row.cell(self.clean(name), style=FontFace(fill_color=PALE))
                row.cell(self.clean(value))
        self.ln(1.5)

    def table_block(self, block: Table) -> None:
        self.face(8 if block.small else 9)
        aligned = tuple(
            Align.R if place in block.right else Align.L for place in range(len(block.head))
        )
        with self.table(
            col_widths=tuple(block.widths),
            line_height=4.3,
            padding=(1, 1 if block.small else 1.2),
            text_align=aligned,
            headings_style=FontFace(
                emphasis="BOLD", size_pt=7.5 if block.small else 8, fill_color=GREY
            ),
            min_row_height=7.5,
            borders_layout=TableBordersLayout.ALL,
        ) as table:
            table.row([self.clean(name) for name in block.head])
            for cells in block.rows:
                table.row([self.clean(cell) for cell in cells])
        self.ln(1.5)

    def cards(self, block: Cards) -> None:
        """Labels two beside each other; a row of them is never parted by the end of a page."""
        width = (self.epw - GAP) / 2
        for place, card in enumerate(block.cards):
            if place % 2 == 0 and self.will_page_break(CARD_HEIGHT):
                self.add_page()
            self.card(card, self.l_margin + (place % 2) * (width + GAP), self.get_y(), width)
            if place % 2 or place == len(block.cards) - 1:
                self.set_xy(self.l_margin, self.get_y() + CARD_HEIGHT + GAP)

    def card(self, card: Card, left: float, top: float, width: float) -> None:
        inner = width - 6
        beside = inner - (CODE + 2 if card.code else 0)
        self.set_dash_pattern(dash=1, gap=1)
        self.rect(left, top, width, CARD_HEIGHT)
        self.set_dash_pattern()
        with self.rect_clip(left, top, width, CARD_HEIGHT):
            if card.code is not None:
                self.code(card, left + width - CODE - 3, top + 3)
            self.set_xy(left + 3, top + 2.5)
            self.face(10.5, bold=True)
            self.fitted(card.title, beside, 4.8, lines=2)
            self.set_x(left + 3)
            self.face(17, bold=True)
            self.fitted(card.mark, beside, 8, lines=1)
            self.face(8)
            for place, (name, value) in enumerate(card.rows):
                self.set_x(left + 3)
                # Below the code there is the whole width.
                below = self.get_y() > top + CODE + 8
                # A second line where all that follows still has room.
                free = (top + CARD_HEIGHT - 1.5 - self.get_y()) // CARD_LINE
                lines = 2 if free > len(card.rows) - place else 1
                self.fitted(f"{name}: {value}", inner if below else beside, CARD_LINE, lines=lines)
        self.set_xy(self.l_margin, top)

    def code(self, card: Card, left: float, top: float) -> None:
        if card.code is None:
            return
        self.image(io.BytesIO(png(card.code)), x=left, y=top, w=CODE, h=CODE)
        self.set_xy(left, top + CODE)
        self.face(5)
        self.fitted(card.code.below, CODE, 2.1, lines=3)

    def fitted(self, text: str, width: float, height: float, *, lines: int) -> None:
        """The text in so many lines at most; what is longer ends in dots."""
        text = self.clean(text)
        shown = self.broken(text, width, height)
        if len(shown) > lines:
            shown = shown[:lines]
            shown[-1] = shown[-1][:-2] + "…"
        left = self.get_x()
        for one in shown:
            self.set_x(left)
            self.cell(width, height, one, new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def broken(self, text: str, width: float, height: float) -> list[str]:
        """The text as it falls into lines of this width."""
        found: list[str] = self.multi_cell(  # type: ignore[assignment]
            width, height, text, align=Align.L, dry_run=True, output="LINES"
        )
        return found
