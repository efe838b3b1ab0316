"""Price lists of suppliers: what a list would change, and the list written whole or not at all.

Whoever imports checks first: the same rows give the same answer both times. What is there already
is left alone, so the same list twice changes nothing the second time.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final, TypeVar
from uuid import UUID

from django.db import connection
from django.db.models import Q

from ledger.access import Actor, materials_visible_to, suppliers_visible_to
from ledger.errors import (
    Invalid,
    NotFound,
    Refusal,
    Sentence,
)
from ledger.in_parts import Told, parts_of, silent
from ledger.models import Material, Offer, OfferPrice, Supplier
from ledger.offer_reading import breaks_of, with_breaks
from ledger.offering import BreakFacts, Priced, PriceFacts, keep, owner_of, pack_of, price_of
from ledger.price_list_rows import (
    CellError,
    ListedPrice,
    ListRefused,
    ListRow,
    error_at,
    read_row,
)
from ledger.quantities import Quantity, parse_quantity
from ledger.roles import Verb

Named = TypeVar("Named", Supplier, Material)
# So many rows are compared at once; a statement must not take too long.
AT_ONCE: Final = 1_000
# The price that holds on the day of each of these offers, which come with their days.
_IN_FORCE: Final = """
select w.place, p.id from unnest(%s::uuid[], %s::date[]) with ordinality w(offer, day, place)
  cross join lateral (
    select id from ledger_offerprice p
      where p.coop_id = %s and p.offer_id = w.offer and p.valid_from <= w.day
      order by p.valid_from desc, p.id desc limit 1) p
"""


@dataclass(frozen=True, slots=True)
class Change:
    """A price that a row adds; `added` where the pack itself is new. `was` held on that day."""

    row: int
    added: bool
    offer: Offer
    price: OfferPrice
    was: OfferPrice | None


@dataclass(slots=True)
class PriceList:
    """What a list says: its errors, what it changes, and how many rows say what is known."""

    rows: int
    errors: list[CellError] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    unchanged: int = 0
    offers: list[Offer] = field(default_factory=list)
    priced: list[Priced] = field(default_factory=list)


def check_list(
    actor: Actor, rows: Sequence[ListRow], *, opened: bool | None = None, told: Told = silent
) -> PriceList:
    """What a list would change, with everything that is wrong with it; nothing is written.

    Two queries for a thousand rows or fewer, and a fixed number beside them. How many rows are done
    is `told` in between. Raises Forbidden.
    """
    actor.must(Verb.OFFER)
    found = PriceList(len(rows))
    known, done = _Known(actor, owner_of(actor, opened)), 0
    for part in parts_of(rows, AT_ONCE):
        read = [read_row(row) for row in part]
        for row, (said, errors) in zip(part, read, strict=True):
            found.errors += errors
            if said is None:
                _refuse_names(known, row, errors, found)
        placed = [
            (said, offer)
            for said, _ in read
            if said is not None and (offer := _offer_of(known, said, found)) is not None
        ]
        _compare(actor, placed, known, found)
        done += len(part)
        told(done)
    found.errors.sort(key=lambda error: error.row)
    return found


def import_list(
    actor: Actor, rows: Sequence[ListRow], *, opened: bool | None = None, told: Told = silent
) -> PriceList:
    """Write what a list changes. Raises ListRefused for any error, Forbidden, Conflict.

    Half of the rows are told as done while all of them are looked at.
    """
    found = check_list(actor, rows, opened=opened, told=lambda done: told(done // 2))
    if found.errors:
        raise ListRefused(found.errors)
    keep(
        actor,
        found.offers,
        found.priced,
        told=lambda done: told(len(rows) - (len(found.priced) - done) // 2),
    )
    return found


class _Known:
    """What the names of a list may mean, and the offers of its owner."""

    def __init__(self, actor: Actor, owner: UUID | None) -> None:
        self.actor, self.owner = actor, owner
        self.suppliers: dict[str, list[Supplier]] = defaultdict(list)
        self.materials: dict[str, list[Material]] = defaultdict(list)
        self.inci: dict[str, list[Material]] = defaultdict(list)
        for supplier in suppliers_visible_to(actor):
            for name in (supplier.name, str(supplier.id)):
                self.suppliers[_key(name)].append(supplier)
        for material in materials_visible_to(actor):
            for name in (material.name, str(material.id)):
                self.materials[_key(name)].append(material)
            self.inci[_key(material.inci_name)].append(material)
        # By supplier, material, article and what the pack holds, as it is kept and as it was typed.
        self.offers: dict[tuple[object, ...], Offer] = {}
        own = Q(maker__isnull=True) if owner is None else Q(maker_id=owner)
        rows = Offer.objects.filter(own, coop_id=actor.coop_id)
        # Which row gave the price of an offer from a day on, and which offers the list adds.
        self.seen: dict[tuple[UUID, date], int] = {}
        self.added: set[UUID] = set()
        self.kept = set()
        for offer in rows.select_related("material", "supplier"):
            self.add(offer, parse_quantity(offer.entered))
            self.kept.add(offer.id)

    def add(self, offer: Offer, pack: Quantity) -> None:
        """An offer that later rows may be about."""
        self.offers.setdefault((*_sold(offer), offer.quantity), offer)
        self.offers.setdefault((*_sold(offer), pack.measure, pack.amount), offer)

    def same(self, made: Offer, said: ListedPrice) -> Offer | None:
        """The offer of the same pack; where the row names no density, also by how it was typed,
        whatever density has been stated since."""
        found = self.offers.get((*_sold(made), made.quantity))
        if found is None and said.density is None:
            found = self.offers.get((*_sold(made), said.pack.measure, said.pack.amount))
        return found

    def supplier(self, name: str) -> Supplier:
        return _the_one(self.suppliers.get(_key(name), []), "supplier")

    def material(self, name: str) -> Material:
        key = _key(name)
        return _the_one(self.materials.get(key) or self.inci.get(key) or [], "material")


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()


def _the_one(rows: Sequence[Named], what: str) -> Named:
    if not rows:
        raise NotFound(
            Sentence(
                "There is no {what} of this name: write it as the catalogue does, or add it.",
                what=what,
            )
        )
    if len(rows) > 1:
        raise Invalid(
            Sentence(
                "{count} in the catalogue have this name: write the {what}'s id instead.",
                count=len(rows),
                what=what,
            )
        )
    return rows[0]


def _refuse_names(
    known: _Known, row: ListRow, errors: Sequence[CellError], found: PriceList
) -> None:
    """Say which names of a row are not known, though something else of it cannot be read."""
    wrong = {error.column for error in errors}
    for column, named in (("supplier", known.supplier), ("material", known.material)):
        if column not in wrong:
            try:
                named(row.cells[column].strip())
            except Refusal as refusal:
                found.errors.append(error_at(row, column, refusal))


def _offer_of(known: _Known, said: ListedPrice, found: PriceList) -> Offer | None:
    """The offer that a row is about, a new one where there is none; None where it is refused."""
    try:
        supplier = known.supplier(said.supplier)
    except Refusal as refusal:
        found.errors.append(error_at(said.row, "supplier", refusal))
        supplier = None
    try:
        material = known.material(said.material)
    except Refusal as refusal:
        found.errors.append(error_at(said.row, "material", refusal))
        return None
    if supplier is None:
        return None
    try:
        made = pack_of(
            known.actor,
            known.owner,
            supplier,
            material,
            said.pack,
            article_code=said.article_code,
            density=said.density,
        )
    except Refusal as refusal:
        found.errors.append(error_at(said.row, refusal.pointer.strip("/"), refusal))
        return None
    there = known.same(made, said)
    if there is None:
        known.add(made, said.pack)
    return there or made


def _sold(offer: Offer) -> tuple[object, ...]:
    return offer.supplier_id, offer.material_id, offer.article_code


def _compare(
    actor: Actor, placed: Sequence[tuple[ListedPrice, Offer]], known: _Known, found: PriceList
) -> None:
    """Sort what rows say into what is new and what is known already."""
    held = _in_force(actor, [(offer.id, said.valid_from) for said, offer in placed])
    for place, (said, offer) in enumerate(placed):
        try:
            priced = price_of(actor, offer, _facts(said))
        except Refusal as refusal:
            found.errors.append(error_at(said.row, _column(refusal.pointer), refusal))
            continue
        first = known.seen.setdefault((offer.id, said.valid_from), said.row.number)
        if first != said.row.number:
            twice = Invalid(
                Sentence(
                    "Row {first} gives a price of this pack from this day already.", first=first
                )
            )
            found.errors.append(error_at(said.row, "valid_from", twice))
            continue
        was = held.get(place)
        if was is not None and was.valid_from == said.valid_from and _same(was, priced):
            found.unchanged += 1
            continue
        new = offer.id not in known.kept and offer.id not in known.added
        if new:
            known.added.add(offer.id)
            found.offers.append(offer)
        found.priced.append(priced)
        found.changes.append(Change(said.row.number, new, offer, priced.price, was))


def _in_force(actor: Actor, asked: Sequence[tuple[UUID, date]]) -> dict[int, OfferPrice]:
    """By its place, the price that holds of each offer on its day."""
    with connection.cursor() as cursor:
        offers, days = [offer for offer, _ in asked], [day for _, day in asked]
        cursor.execute(_IN_FORCE, [offers, days, actor.coop_id])
        ids: dict[int, UUID] = {place - 1: id for place, id in cursor.fetchall()}
    rows = OfferPrice.objects.filter(coop_id=actor.coop_id, id__in=set(ids.values()))
    prices = {row.id: row for row in with_breaks(rows)}
    return {place: prices[id] for place, id in ids.items()}


def _facts(said: ListedPrice) -> PriceFacts:
    return PriceFacts(
        valid_from=said.valid_from,
        price=said.price,
        currency=said.currency,
        rate=said.rate,
        breaks=[BreakFacts(one.at_least, one.price) for one in said.breaks],
        least_packs=said.least_packs,
        lead_time_days=said.lead_time_days,
        shelf_life_days=said.shelf_life_days,
        note=said.note,
    )


def _column(pointer: str) -> str:
    """The column of what a price refuses at a pointer such as /breaks/0/at_least."""
    match pointer.strip("/").split("/"):
        case ["breaks", place, name]:
            return f"break_{int(place) + 1}_{'from' if name == 'at_least' else 'price'}"
        case [name, *_]:
            return name
    return ""


def _same(was: OfferPrice, priced: Priced) -> bool:
    """Whether a price says what is there already."""
    return _said(was, breaks_of(was)) == _said(priced.price, priced.breaks)


def _said(price: OfferPrice, breaks: Iterable[object]) -> tuple[object, ...]:
    facts = (
        "price",
        "currency",
        "rate",
        "least_packs",
        "lead_time_days",
        "shelf_life_days",
        "note",
    )
    steps = [(getattr(one, "quantity", None), getattr(one, "price", None)) for one in breaks]
    return (*(getattr(price, name) for name in facts), steps)
