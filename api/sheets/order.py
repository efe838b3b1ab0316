"""An order for its supplier: as a sheet to print or mail, and its lines as CSV."""

from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from api.sheet_writing import csv_of
from api.sheets.blocks import Block, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import day, quantity
from ledger.money import round_money
from ledger.order_papers import OrderPaper, PaperLine
from ledger.quantities import kept_in

HEAD = ("#", "Material", "Packs", "Each of", "In all", "Price", "Expected")
COLUMNS = (
    *("order", "line", "article_code", "material", "inci_name", "packs", "pack", "quantity"),
    "unit",
    *("price", "currency", "expected_on", "wanted"),
)


def order_sheet(paper: OrderPaper, *, printed_at: datetime, page: str) -> Sheet:
    """Describe an order; what was corrected stands as it was last said to be."""
    order, supplier = paper.order, paper.order.supplier
    rows = [
        ("Order", order.number),
        ("From", paper.maker.name),
        ("To", supplier.name),
        ("For the attention of", supplier.contact_name),
        ("Written on", day(_local(paper, order.written_at))),
        ("Note", order.note),
    ]
    lines = [_row(place, line, paper) for place, line in enumerate(paper.lines, start=1)]
    blocks: list[Block] = [
        Fields([row for row in rows if row[1]]),
        Heading("What is ordered"),
        Table(HEAD, (5, 31, 8, 14, 15, 14, 13), lines, frozenset({0, 2, 5})),
        Text(f"In all {_coins(paper.total, paper)} {paper.coop.currency}.", strong=True),
    ]
    return Sheet(
        title=f"Order {order.number}",
        about=f"{paper.maker.name} to {supplier.name}",
        name=f"order-{order.number}",
        printed_at=printed_at,
        blocks=blocks,
        paper=page,
        foot=f"Please name {order.number} on the delivery note and the bill.",
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


def _row(place: int, line: PaperLine, paper: OrderPaper) -> tuple[str, ...]:
    material, terms = line.line.material, line.terms
    name = material.name
    if material.inci_name and material.inci_name != name:
        name = f"{name} ({material.inci_name})"
    if line.article_code:
        name = f"{line.article_code} · {name}"
    expected = day(terms.expected_on) if terms.expected_on else ""
    return (
        str(place),
        name,
        str(terms.packs),
        terms.entered,
        quantity(terms.quantity or Decimal(0), material.counted),
        _coins(terms.price, paper),
        "not wanted any more" if line.ended else expected,
    )


def _local(paper: OrderPaper, moment: datetime) -> datetime:
    """The moment where the co-op is."""
    return moment.astimezone(ZoneInfo(paper.coop.time_zone))


def _money(amount: Decimal | None, paper: OrderPaper) -> str:
    return f"{round_money(amount or Decimal(0), paper.coop.currency):f}"


def _coins(amount: Decimal | None, paper: OrderPaper) -> str:
    """Money with its thousands parted, as a sheet shows it."""
    return f"{round_money(amount or Decimal(0), paper.coop.currency):,f}"
