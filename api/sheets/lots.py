"""Labels of lots, and a list of lots to count by."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final

from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from api.sheets.blocks import Block, Card, Cards, Code, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import PLAIN, Hand, pieces, rounded
from ledger import gs1
from ledger.lot_labels import LotFacts
from ledger.models import CountSheet, Custody, Lot, Status

FOOT: Final = _("Write down what is there, not what should be.")
STATUSES: Final = {
    Status.QUARANTINE: _("in quarantine"),
    Status.RELEASED: _("released"),
    Status.REJECTED: _("rejected"),
    Status.HOLD: _("on hold"),
}


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
    custody: Custody,
    maker: str,
    gtin: str,
    copies: int,
    today: date,
    printed_at: datetime,
    paper: str,
    hand: Hand = PLAIN,
) -> Sheet:
    """Labels for a lot's containers (ISO 22716 6.4, 6.6.5): what it is, whence, until when."""
    until = hand.day(lot.expires_on) if lot.expires_on else said("not known, not endless")
    inci = lot.material.inci_name
    rows = [
        *([("INCI", inci)] if inci not in ("", lot.material.name) else []),
        *([(said("Supplier lot"), lot.supplier_lot)] if lot.supplier_lot else []),
        (said("In on"), hand.day(lot.arrived_on)),
        (said("Use until"), until),
        *([(said("Retest on"), hand.day(lot.retest_on))] if lot.retest_on else []),
        (said("Status when printed"), str(STATUSES[Status(custody.status)])),
        (said("Holder"), maker),
        *_opened(custody, lot.material.use_within_days, alone=copies == 1, hand=hand),
    ]
    code = carrier(lot.code, lot.expires_on, today, gtin)
    card = Card(lot.material.name, lot.code, rows, code)
    return Sheet(
        title=said("Lot %(code)s") % {"code": lot.code},
        about=lot.material.name,
        name=f"lot-{lot.code}",
        printed_at=printed_at,
        blocks=[Cards([card] * copies)],
        paper=paper,
        foot=said("Cut along the lines."),
        hand=hand,
    )


def _opened(
    custody: Custody, days: int | None, *, alone: bool, hand: Hand
) -> list[tuple[str, str]]:
    """The day of opening where it is known, or else room to write it.

    Of several containers it is not known which one is open: on their labels it is written by hand.
    """
    if custody.opened_on is not None and alone:
        until = [(said("Once open, use by"), hand.day(custody.use_by))] if custody.use_by else []
        return [(said("Opened on"), hand.day(custody.opened_on)), *until]
    rows = [(said("Opened on"), "____________")]
    if days is not None:
        text = ngettext("%(n)s day", "%(n)s days", days) % {"n": hand.number(days)}
        rows.append((said("Once open, use within"), text))
    return rows


def count_sheet(
    lots: Sequence[LotFacts],
    *,
    maker: str,
    blind: bool,
    printed_at: datetime,
    paper: str,
    more: bool,
    hand: Hand = PLAIN,
) -> Sheet:
    """A list of lots in store to count by; blind without the books' figures, so that nobody copies
    them."""
    blocks = _to_count(lots, blind, hand)
    if more:
        text = said("Only the first %(count)s lots are listed; print a material at a time.")
        blocks.insert(0, Text(text % {"count": hand.number(len(lots))}, strong=True))
    return Sheet(
        title=said("Count sheet"),
        about=_whose(maker, blind),
        name="count-sheet",
        printed_at=printed_at,
        blocks=blocks,
        paper=paper,
        foot=str(FOOT),
        hand=hand,
    )


def sheet_of_count(
    sheet: CountSheet,
    lots: Sequence[LotFacts],
    *,
    maker: str,
    printed_at: datetime,
    paper: str,
    hand: Hand = PLAIN,
) -> Sheet:
    """The lots of a count, to write down what is there; without the books' figures if it is blind,
    so that nobody copies them."""
    of_count = Fields(
        [
            (said("Place"), sheet.place or said("everywhere")),
            (said("Opened"), hand.moment(sheet.opened_at)),
        ]
    )
    return Sheet(
        title=said("Count sheet"),
        about=_whose(maker, sheet.blind),
        name=f"count-{sheet.id}",
        printed_at=printed_at,
        blocks=[of_count, *_to_count(lots, sheet.blind, hand)],
        paper=paper,
        foot=str(FOOT),
        hand=hand,
    )


def _whose(maker: str, blind: bool) -> str:
    return said("%(maker)s, blind") % {"maker": maker} if blind else maker


def _to_count(lots: Sequence[LotFacts], blind: bool, hand: Hand) -> list[Block]:
    """Room to write for each lot: its code, material, status and what the books have of it."""
    named = [(one.code, one.material, str(STATUSES[Status(one.status)])) for one in lots]
    first, room = (said("Lot"), said("Material"), said("Status")), ("",) * 5
    head = [said("Gross"), said("Tare"), said("Net or count"), said("Recount"), said("By")]
    if blind:
        widths = (11, 28, 12, 11, 10, 12, 10, 6)
        table = Table((*first, *head), widths, [(*row, *room) for row in named])
    else:
        books = [_in_books(one, hand) for one in lots]
        table = Table(
            (*first, said("In the books"), *head),
            (11, 21, 12, 13, 11, 10, 12, 10, 6),
            [(*row, amount, *room) for row, amount in zip(named, books, strict=True)],
            frozenset({3}),
        )
    found = [said("Lot or supplier lot"), said("Material"), said("Gross"), said("Tare")]
    found += [said("Net or count"), said("Where")]
    by = [(said("Counted on"), ""), (said("Counted by"), ""), (said("Checked by"), "")]
    return [
        Fields(by),
        Heading(said("Lots")),
        table,
        Heading(said("Found, but not listed")),
        Table(found, (18, 30, 12, 12, 14, 14), [("",) * 6] * 4),
    ]


def _in_books(lot: LotFacts, hand: Hand) -> str:
    """What the books have, in the unit in which a count is taken down: grams or pieces."""
    if lot.counted:
        return pieces(lot.amount, hand)
    return f"{hand.number(rounded(lot.amount))} g"
