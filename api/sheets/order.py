"""An order for its supplier: as a sheet to print or mail, and its lines as CSV."""

from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as said

from api.sheet_writing import csv_of
from api.sheets.blocks import Block, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import Plain
from ledger.money import minor_units, round_money
from ledger.order_papers import OrderPaper, PaperLine
from ledger.quantities import kept_in

COLUMNS = (
    *("order", "line", "article_code", "material", "inci_name", "packs", "pack", "quantity"),
    "unit",
    *("price", "currency", "expected_on", "wanted"),
)


def order_sheet(paper: OrderPaper, *, printed_at: datetime, page: str) -> Sheet:
    """Describe an order; what was corrected stands as it was last said to be.

    It is for the supplier, so its figures are plain, however whoever prints it writes.
    """
    order, supplier, hand = paper.order, paper.order.supplier, Plain(paper.coop.time_zone)
    rows = [
        (said("Order"), order.number),
        (said("From"), paper.maker.name),
        (said("To"), supplier.name),
        (said("For the attention of"), supplier.contact_name),
        (said("Written on"), hand.day(order.written_at)),
        (said("Note"), order.note),
    ]
    lines = [_row(place, line, paper, hand) for place, line in enumerate(paper.lines, start=1)]
    head = [said("#"), said("Material"), said("Packs"), said("Each of"), said("In all")]
    head += [said("Price, %(currency)s") % {"currency": paper.coop.currency}, said("Expected")]
    total = {"amount": _coins(paper.total, paper, hand), "currency": paper.coop.currency}
    blocks: list[Block] = [
        Fields([row for row in rows if row[1]]),
        Heading(said("What is ordered")),
        Table(head, (5, 31, 8, 14, 15, 14, 13), lines, frozenset({0, 2, 5})),
        Text(said("In all %(amount)s %(currency)s.") % total, strong=True),
    ]
    number = {"number": order.number}
    return Sheet(
        title=said("Order %(number)s") % number,
        about=said("%(maker)s to %(supplier)s")
        % {"maker": paper.maker.name, "supplier": supplier.name},
        name=f"order-{order.number}",
        printed_at=printed_at,
        blocks=blocks,
        paper=page,
        foot=said("Please name %(number)s on the delivery note and the bill.") % number,
        hand=hand,
    )


def order_csv(paper: OrderPaper) -> bytes:
    """The lines of an order as CSV; quantities are grams or pieces of all packs."""
    rows = []
    for place, line in enumerate(paper.lines, start=1):
        material, terms = line.line.material, line.terms
        exact = terms.quantity or Decimal(0)
        rows.append(
            [
                paper.order.number,
                str(place),
                line.article_code,
                material.name,
                material.inci_name,
                str(terms.packs),
                terms.entered,
                f"{exact.normalize():f}",
                kept_in(material.counted),
                _money(terms.price, paper),
                paper.coop.currency,
                f"{terms.expected_on or ''}",
                "no" if line.ended else "yes",
            ]
        )
    return csv_of(COLUMNS, rows)


def _row(place: int, line: PaperLine, paper: OrderPaper, hand: Plain) -> tuple[str, ...]:
    material, terms = line.line.material, line.terms
    name = material.name
    if material.inci_name and material.inci_name != name:
        name = f"{name} ({material.inci_name})"
    if line.article_code:
        name = f"{line.article_code} · {name}"
    expected = hand.day(terms.expected_on) if terms.expected_on else ""
    packs, quantity = terms.packs or 1, terms.quantity or Decimal(0)
    return (
        str(place),
        name,
        hand.number(packs),
        hand.quantity(quantity / packs, counted=True) if material.counted else terms.entered,
        hand.quantity(quantity, material.counted),
        _coins(terms.price, paper, hand),
        said("not wanted any more") if line.ended else expected,
    )


def _money(amount: Decimal | None, paper: OrderPaper) -> str:
    return f"{round_money(amount or Decimal(0), paper.coop.currency):f}"


def _coins(amount: Decimal | None, paper: OrderPaper, hand: Plain) -> str:
    """Money with its thousands parted, as a sheet shows it."""
    return hand.number(amount or Decimal(0), minor_units(paper.coop.currency))
