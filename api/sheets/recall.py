"""The record of a recall: the list as it was, buyers and makers told, what came back, its end."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from api.sheets.blocks import Block, Fields, Heading, Sheet, Table, Text
from ledger.alert_texts import shown
from ledger.models import Recall, RecallClosure, RecallContact
from ledger.recall_buyers import Buyer, sales_of
from ledger.recall_notices import Answered
from ledger.recall_records import Progress
from ledger.recall_snapshots import from_facts
from ledger.recall_tallies import Count, Tally, percent_back
from ledger.recalling import RecallList


def recall_sheet(
    recall: Recall,
    closure: RecallClosure | None,
    progress: Progress,
    *,
    names: Mapping[UUID | None, str],
    maker: str,
    time_zone: str,
    printed_at: datetime,
) -> Sheet:
    """Describe the record of a recall, for whoever asks to see it (21 CFR 7.49, ISO 22716 14)."""
    lot = recall.lot
    blocks: list[Block] = [
        Fields(_head(recall, closure, maker, ZoneInfo(time_zone))),
        *_balance(progress.tally, lot.material.counted),
        *_sales(progress.buyers),
        Heading("Where it was when the recall was opened"),
        _places(from_facts(recall.listed)),
        Heading("Where it is now"),
        _places(progress.listed),
        Heading("Buyers"),
        _buyers(progress.buyers),
    ]
    if progress.contacts:
        blocks += [Heading("What was said"), _contacts(progress.contacts)]
    if progress.makers:
        blocks += [Heading("Other makers"), _makers(progress.makers, names)]
    return Sheet(
        title=f"Recall of {lot.code}",
        about=f"{lot.material.name} · {maker}",
        name=f"recall-{lot.code}",
        printed_at=printed_at,
        blocks=blocks,
        foot="A record. Rules differ by place; check your local authority.",
    )


def _head(
    recall: Recall, closure: RecallClosure | None, maker: str, zone: ZoneInfo
) -> list[tuple[str, str]]:
    rows = [
        ("Lot", f"{recall.lot.code} {recall.lot.material.name}"),
        ("Supplier lot", recall.lot.supplier_lot),
        ("Called back by", maker),
        ("Because", recall.reason),
        ("Depth (21 CFR 7.42)", recall.depth),
        ("Class, by the authority (21 CFR 7.41)", recall.classification),
        ("Began", _moment(recall.happened_at, zone)),
        ("Opened", f"{_moment(recall.opened_at, zone)}, {recall.person.get_username()}"),
        ("Closed", _moment(closure.happened_at, zone) if closure else "not yet"),
        ("Closed because", closure.reason if closure else ""),
    ]
    return [row for row in rows if row[1]]


def _balance(tally: Tally, counted: bool) -> list[Block]:
    """All of the lot against what is found of it."""
    percent = percent_back(tally.accounted, tally.received)
    found = f" ({percent} %)" if percent is not None else ""
    rows = [
        ("There was", shown(tally.received, counted)),
        ("Accounted for", f"{shown(tally.accounted, counted)}{found}"),
        ("Not accounted for", shown(tally.unexplained, counted)),
    ]
    return [Heading("All of the lot"), Fields(rows)]


def _sales(buyers: Sequence[Buyer]) -> list[Block]:
    return [
        Text(
            f"Sold {shown(one.sold, one.counted)}: {shown(one.returned, one.counted)} came back"
            f" ({one.percent_back} %), {shown(one.destroyed, one.counted)} destroyed,"
            f" {shown(one.used_up, one.counted)} used up,"
            f" {shown(one.left, one.counted)} not heard of."
        )
        for one in sales_of(buyers)
    ]


def _places(listed: RecallList) -> Table:
    counted = listed.lot.counted
    rows = [
        (
            f"{lot.code} {lot.material_name}",
            place.name,
            shown(place.quantity, lot.counted),
            shown(place.of_recalled, counted),
        )
        for lot in listed.lots
        for place in lot.places
    ]
    head = ("Lot", "Where", "How much", "Of the recalled lot")
    return Table(head, (42, 26, 15, 17), rows, frozenset({2, 3}))


def _buyers(buyers: Sequence[Buyer]) -> Table:
    rows = [row for one in buyers for row in _rows_of(one)]
    head = ("Who", "Lot", "Sold", "Back", "Destroyed", "Used up", "Left", "Told", "Answered")
    return Table(head, (19, 11, 9, 9, 12, 10, 9, 10, 11), rows, frozenset({2, 3, 4, 5, 6}))


def _rows_of(one: Buyer) -> list[tuple[str, ...]]:
    told = f"{one.last_contact_on}" if one.last_contact_on else ""
    heard = (told, "yes" if one.answered else "")
    rows = [
        (
            *(one.customer, line.code),
            *(
                shown(amount, line.counted) if amount else "0"
                for amount in (line.sold, line.returned, line.destroyed, line.used_up, line.left)
            ),
            *heard,
        )
        for line in one.lines
    ]
    if _counts(one.at_shop):
        rows.append((one.customer, "on consignment", _counts(one.at_shop), *[""] * 4, *heard))
    return rows


def _contacts(contacts: Sequence[RecallContact]) -> Table:
    rows = [
        (
            *(f"{one.contacted_on}", one.customer, one.how, "yes" if one.answered else ""),
            _outcome(one),
            *(one.note, one.person.get_username()),
        )
        for one in contacts
    ]
    head = ("On", "Who", "How", "Answered", "Became of it", "Said", "Written by")
    return Table(head, (12, 18, 10, 10, 18, 20, 12), rows)


def _outcome(one: RecallContact) -> str:
    if one.lot is None or one.quantity is None:
        return ""
    amount = shown(one.quantity, one.lot.material.counted)
    return f"{amount} of {one.lot.code} {one.outcome.replace('_', ' ')}"


def _makers(found: Sequence[Answered], names: Mapping[UUID | None, str]) -> Table:
    rows = [
        (
            names.get(one.maker) or "told by a maker that passed it on",
            f"{one.quantity.normalize():f}",
            f"{one.answered_at:%Y-%m-%d}" if one.answered_at else "not yet",
            "yes" if one.held else "",
            *(
                _counts(getattr(one.tally, name)) if one.tally else ""
                for name in ("in_reach", "sold", "returned")
            ),
            one.reason,
        )
        for one in found
    ]
    head = ("Maker", "Got, g or pieces", "Answered", "Held", "Within reach", "Sold", "Back", "Word")
    return Table(head, (18, 12, 12, 7, 14, 12, 11, 14), rows, frozenset({1}))


def _counts(count: Count) -> str:
    """Pieces and grams, of which either may be nothing."""
    parts = [(count.units, True), (count.grams, False)]
    return ", ".join(shown(amount, counted) for amount, counted in parts if amount != Decimal(0))


def _moment(moment: datetime, zone: ZoneInfo) -> str:
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M}"
