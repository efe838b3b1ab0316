"""Labels of lots, and a list of lots to count by."""

from collections.abc import Sequence
from datetime import date, datetime

from api.sheets.blocks import Block, Card, Cards, Code, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import day
from ledger import gs1
from ledger.lot_labels import LotFacts
from ledger.models import CountSheet, Lot

FOOT = "Write down what is there, not what should be."


def carrier(code: str, expires_on: date | None, today: date, gtin: str = "") -> Code:
    """What the QR code of a lot holds.

    With a GTIN it is a GS1 Digital Link; without one the element string of AI 17 and 10 alone,
    fixed length first, so that no separator is needed. A date that two digits cannot tell is left
    out, and so is a code that no GS1 carrier can hold, for the code itself.
    """
    if not gs1.fits("10", code):
        return Code(code, code)
    try:
        expires = gs1.date_value(expires_on, today) if expires_on else ""
    except gs1.CarrierWrong:
        expires = ""
    pairs = [("17", expires)] if expires else []
    if gtin:
        below = gs1.bracketed([("01", gtin), *pairs, ("10", code)])
        return Code(gs1.digital_link(gtin, lot=code, expires=expires), below)
    pairs.append(("10", code))
    return Code(gs1.element_string(pairs), gs1.bracketed(pairs))


def lot_label(
    lot: Lot,
    *,
    status: str,
    maker: str,
    gtin: str,
    copies: int,
    today: date,
    printed_at: datetime,
    paper: str,
) -> Sheet:
    """Labels for a lot's containers (ISO 22716 6.4, 6.6.5): what it is, whence, until when."""
    rows = [
        *([("INCI", lot.material.inci_name)] if lot.material.inci_name else []),
        *([("Supplier lot", lot.supplier_lot)] if lot.supplier_lot else []),
        ("In on", day(lot.arrived_on)),
        ("Use until", day(lot.expires_on) if lot.expires_on else "not known, not endless"),
        *([("Retest on", day(lot.retest_on))] if lot.retest_on else []),
        ("Status when printed", status),
        ("Holder", maker),
        ("Opened on", "____________"),
    ]
    code = carrier(lot.code, lot.expires_on, today, gtin)
    card = Card(lot.material.name, lot.code, rows, code)
    return Sheet(
        title=f"Lot {lot.code}",
        about=lot.material.name,
        name=f"lot-{lot.code}",
        printed_at=printed_at,
        blocks=[Cards([card] * copies)],
        paper=paper,
        foot="Cut along the lines.",
    )


def count_sheet(
    lots: Sequence[LotFacts],
    *,
    maker: str,
    blind: bool,
    printed_at: datetime,
    paper: str,
    more: bool,
) -> Sheet:
    """A list of lots in store to count by; blind without the books' figures, so that nobody copies
    them."""
    blocks = _to_count([(one.code, one.material, one.status, one.amount) for one in lots], blind)
    if more:
        text = f"Only the first {len(lots)} lots are listed; print a material at a time."
        blocks.insert(0, Text(text, strong=True))
    return Sheet(
        title="Count sheet",
        about=f"{maker}{', blind' if blind else ''}",
        name="count-sheet",
        printed_at=printed_at,
        blocks=blocks,
        paper=paper,
        foot=FOOT,
    )


def sheet_of_count(
    sheet: CountSheet, lots: Sequence[LotFacts], *, maker: str, printed_at: datetime, paper: str
) -> Sheet:
    """The lots of a count, to write down what is there; without the books' figures if it is blind,
    so that nobody copies them."""
    of_count = Fields(
        [
            ("Count", str(sheet.id)),
            ("Place", sheet.place or "everywhere"),
            ("Opened", f"{day(sheet.opened_at)}, {sheet.opened_at:%H:%M} UTC"),
        ]
    )
    rows = [(one.code, one.material, one.status, one.amount) for one in lots]
    return Sheet(
        title="Count sheet",
        about=f"{maker}{', blind' if sheet.blind else ''}",
        name=f"count-{sheet.id}",
        printed_at=printed_at,
        blocks=[of_count, *_to_count(rows, sheet.blind)],
        paper=paper,
        foot=FOOT,
    )


def _to_count(rows: Sequence[tuple[str, str, str, str]], blind: bool) -> list[Block]:
    """Room to write for each lot: its code, material, status and what the books have of it."""
    room = ("", "", "", "", "")
    head = ("Gross", "Tare", "Net or count", "Recount", "By")
    if blind:
        table = Table(
            ("Lot", "Material", "Status", *head),
            (11, 29, 11, 11, 10, 12, 10, 6),
            [(code, material, status, *room) for code, material, status, _ in rows],
        )
    else:
        table = Table(
            ("Lot", "Material", "Status", "In the books", *head),
            (11, 22, 11, 13, 11, 10, 12, 10, 6),
            [(*row, *room) for row in rows],
            frozenset({3}),
        )
    return [
        Fields([("Counted on", ""), ("Counted by", ""), ("Checked by", "")]),
        Heading("Lots"),
        table,
        Heading("Found, but not listed"),
        Table(
            ("Lot or supplier lot", "Material", "Gross", "Tare", "Net or count", "Where"),
            (18, 30, 12, 12, 14, 14),
            [("",) * 6] * 4,
        ),
    ]
