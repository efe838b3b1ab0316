"""The record of a recall: the list as it was, buyers and makers told, what came back, its end."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as said

from api.pages.recall_words import CLASSES, DEPTHS, OUTCOMES, WAYS
from api.pages.words import worded
from api.sheets.blocks import Block, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import Hand, quantity
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
    printed_at: datetime,
    hand: Hand,
) -> Sheet:
    """Describe the record of a recall, for whoever asks to see it (21 CFR 7.49, ISO 22716 14)."""
    lot, of_then = recall.lot, from_facts(recall.listed)
    blocks: list[Block] = [
        Fields(_head(recall, closure, maker, hand)),
        *_balance(progress.tally, lot.material.counted, hand),
        *_sales(progress.buyers, hand),
        Heading(said("Where it was when the recall was opened")),
        _places(of_then, hand),
        *_of_then(of_then),
        Heading(said("Where it is now")),
        _places(progress.listed, hand),
        Heading(said("Buyers")),
        _buyers(progress.buyers, hand),
    ]
    if progress.contacts:
        blocks += [Heading(said("What was said")), _contacts(progress.contacts, hand)]
    if progress.makers:
        blocks += [Heading(said("Other makers")), _makers(progress, names, hand)]
    return Sheet(
        title=said("Recall of %(code)s") % {"code": lot.code},
        about=f"{lot.material.name} · {maker}",
        name=f"recall-{lot.code}",
        printed_at=printed_at,
        blocks=blocks,
        foot=said("A record. Rules differ by place; check your local authority."),
        hand=hand,
    )


def _head(
    recall: Recall, closure: RecallClosure | None, maker: str, hand: Hand
) -> list[tuple[str, str]]:
    opened = f"{hand.moment(recall.opened_at)}, {recall.person.get_username()}"
    rows = [
        (said("Lot"), f"{recall.lot.code} {recall.lot.material.name}"),
        (said("Supplier lot"), recall.lot.supplier_lot),
        (said("Called back by"), maker),
        (said("Because"), recall.reason),
        (said("How far out it goes (21 CFR 7.42)"), str(DEPTHS[recall.depth])),
        (said("Class, by the authority (21 CFR 7.41)"), str(CLASSES[recall.classification])),
        (said("Began"), hand.moment(recall.happened_at)),
        (said("Opened"), opened),
        (said("Closed"), hand.moment(closure.happened_at) if closure else said("not yet")),
        (said("Closed because"), closure.reason if closure else ""),
    ]
    return [row for row in rows if row[1]]


def _balance(tally: Tally, counted: bool, hand: Hand) -> list[Block]:
    """All of the lot against what is found of it."""
    percent = percent_back(tally.accounted, tally.received)
    found = f" ({hand.number(percent)} %)" if percent is not None else ""
    rows = [
        (said("There was"), quantity(tally.received, counted, hand)),
        (said("Accounted for"), f"{quantity(tally.accounted, counted, hand)}{found}"),
        (said("Not accounted for"), quantity(tally.unexplained, counted, hand)),
    ]
    return [Heading(said("All of the lot")), Fields(rows)]


def _sales(buyers: Sequence[Buyer], hand: Hand) -> list[Block]:
    told: list[Block] = []
    for one in sales_of(buyers):
        names = ("sold", "returned", "destroyed", "used_up", "left")
        figures = {name: quantity(getattr(one, name), one.counted, hand) for name in names}
        figures["percent"] = hand.number(one.percent_back or 0)
        text = said(
            "Sold %(sold)s: %(returned)s came back (%(percent)s %%), %(destroyed)s destroyed,"
            " %(used_up)s used up, %(left)s not heard of."
        )
        told.append(Text(text % figures))
    return told


def _of_then(listed: RecallList) -> list[Block]:
    """Why a list that was kept may tell less than today's."""
    if not listed.shrink_accounted:
        return []
    return [Text(said("Then, what a count had found gone without a cause was accounted for."))]


def _places(listed: RecallList, hand: Hand) -> Table:
    counted = listed.lot.counted
    rows = [
        (
            f"{lot.code} {lot.material_name}",
            worded(place.name),
            quantity(place.quantity, lot.counted, hand),
            quantity(place.of_recalled, counted, hand),
        )
        for lot in listed.lots
        for place in lot.places
    ]
    head = [said("Lot"), said("Where"), said("How much"), said("Of the recalled lot")]
    return Table(head, (42, 26, 15, 17), rows, frozenset({2, 3}))


def _buyers(buyers: Sequence[Buyer], hand: Hand) -> Table:
    rows = [row for one in buyers for row in _rows_of(one, hand)]
    head = [said("Who"), said("Lot"), said("Sold"), said("Back"), said("Destroyed")]
    head += [said("Used up"), said("Left"), said("Told"), said("Answered")]
    figures = frozenset({2, 3, 4, 5, 6})
    return Table(head, (15, 11, 11, 11, 11, 11, 11, 9, 10), rows, figures, small=True)


def _rows_of(one: Buyer, hand: Hand) -> list[tuple[str, ...]]:
    told = hand.day(one.last_contact_on) if one.last_contact_on else ""
    heard = (told, said("yes") if one.answered else "")
    rows = [
        (
            *(one.customer, line.code),
            *(
                quantity(amount, line.counted, hand) if amount else "0"
                for amount in (line.sold, line.returned, line.destroyed, line.used_up, line.left)
            ),
            *heard,
        )
        for line in one.lines
    ]
    at_shop = _counts(one.at_shop, hand)
    if at_shop:
        rows.append((one.customer, said("on consignment"), at_shop, *[""] * 4, *heard))
    return rows


def _contacts(contacts: Sequence[RecallContact], hand: Hand) -> Table:
    rows = [
        (
            *(hand.day(one.contacted_on), one.customer, str(WAYS[one.how])),
            said("yes") if one.answered else "",
            *(_outcome(one, hand), one.note, one.person.get_username()),
        )
        for one in contacts
    ]
    head = [said("On"), said("Who"), said("How"), said("Answered"), said("Became of it")]
    head += [said("Said"), said("Written by")]
    return Table(head, (13, 16, 10, 11, 18, 20, 12), rows)


def _outcome(one: RecallContact, hand: Hand) -> str:
    if one.lot is None or one.quantity is None:
        return ""
    amount = quantity(one.quantity, one.lot.material.counted, hand)
    became = {"amount": amount, "code": one.lot.code, "outcome": OUTCOMES[one.outcome]}
    return said("%(amount)s of %(code)s: %(outcome)s") % became


def _makers(progress: Progress, names: Mapping[UUID | None, str], hand: Hand) -> Table:
    known = {lot.id: lot for lot in progress.listed.lots}
    rows = [
        _maker(one, known.get(one.lot_id, progress.listed.lot).counted, names, hand)
        for one in progress.makers
    ]
    head = [said("Maker"), said("Got"), said("Answered"), said("Held"), said("Within reach")]
    head += [said("Sold"), said("Back"), said("Word")]
    return Table(head, (18, 12, 12, 7, 14, 12, 11, 14), rows, frozenset({1}))


def _maker(
    one: Answered, counted: bool, names: Mapping[UUID | None, str], hand: Hand
) -> tuple[str, ...]:
    return (
        names.get(one.maker) or said("told by a maker that passed it on"),
        quantity(one.quantity, counted, hand),
        hand.day(one.answered_at) if one.answered_at else said("not yet"),
        said("yes") if one.held else "",
        *(
            _counts(getattr(one.tally, name), hand) if one.tally else ""
            for name in ("in_reach", "sold", "returned")
        ),
        one.reason,
    )


def _counts(count: Count, hand: Hand) -> str:
    """Pieces and grams, of which either may be nothing."""
    parts = [(count.units, True), (count.grams, False)]
    return ", ".join(quantity(amount, counted, hand) for amount, counted in parts if amount)
