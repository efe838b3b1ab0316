"""A sheet as one HTML page that asks for nothing else and runs nothing."""

import base64
import functools
import hashlib
from pathlib import Path

from django.template.loader import render_to_string
from django.utils.translation import get_language

from api.sheets.blocks import Cards, Sheet
from api.sheets.codes import png


def render(sheet: Sheet) -> str:
    """The page. Whatever was stored is text in it, never markup."""
    pictures = {
        card.code.content: _data(png(card.code))
        for block in sheet.blocks
        if isinstance(block, Cards)
        for card in block.cards
        if card.code is not None
    }
    facts = {"sheet": sheet, "style": style(), "pictures": pictures, "language": get_language()}
    return render_to_string("sheets/sheet.html", facts)


@functools.cache
def style() -> str:
    """The page's only style, which it carries itself, so that a saved page prints alike."""
    return (Path(__file__).parent / "sheet.css").read_text(encoding="utf-8")


@functools.cache
def policy() -> str:
    """The Content-Security-Policy of a page: this style, pictures within it, and nothing else."""
    digest = base64.b64encode(hashlib.sha256(style().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none';"
        " form-action 'none'; frame-ancestors 'none'"
    )


def _data(picture: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(picture).decode()}"
