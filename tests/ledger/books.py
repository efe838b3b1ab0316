"""A maker's books for tests: goods in and out in one line each, and what is kept of them."""

import itertools
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import psycopg
from django.db import connection

from deploy.embedded import Server
from ledger.access import acting_as
from ledger.cost_formulas import choose_cost_formula
from ledger.entries import Move, Posted, account, open_account, post_entry, reverse_entry
from ledger.models import Account, Custody, Entry, Holding, Layer, Lot, Material, Reservation
from tests.ledger.bench import Bench, now, open_bench

D = Decimal
Kind = Account.Kind
PLACES = {
    "store": (Kind.STORE, "store"),
    "opening": (Kind.OPENING, "opening stock"),
    "source": (Kind.SOURCE, "drawn from the tap"),
    "making": (Kind.MAKING, "making"),
    "labour": (Kind.LABOUR, "labour absorbed"),
    "sales": (Kind.SALES, "cost of goods sold"),
    "sample": (Kind.ISSUE, "sample"),
    "loss": (Kind.LOSS, "spill"),
}
# Quantity and value, which tests compare with whole numbers as well as with decimals.
Pair = tuple[Any, Any]
_codes = itertools.count(1)


def ago(days: int) -> datetime:
    """The same time of day, so many days back."""
    return now() - timedelta(days=days)


class Books:
    """One maker's store, and the accounts around it."""

    def __init__(self, formula: str = "average", bench: Bench | None = None) -> None:
        self.bench = bench or open_bench()
        self.actor = self.bench.actor
        self.material = self.bench.material(cost_formula=formula)

    def at(self, place: str | UUID) -> UUID:
        """The account of a place, or the account itself."""
        return place if isinstance(place, UUID) else account(self.actor, *PLACES[place])

    def batch(self, name: str = "B1") -> UUID:
        """A batch in process."""
        with acting_as(self.actor):
            return open_account(self.actor, Kind.BATCH, name, label=name)

    def lot(
        self,
        quantity: str = "",
        value: str = "0",
        *,
        material: Material | None = None,
        status: str = "released",
        expires_on: date | None = None,
        on: datetime | None = None,
    ) -> Lot:
        """A new lot, in store if a quantity is given."""
        material = material or self.material
        with acting_as(self.actor):
            lot = Lot.objects.create(
                coop=self.bench.coop,
                code=f"T{next(_codes)}",
                material=material,
                origin=self.bench.maker,
                arrived_on=date(2020, 1, 1),
                expires_on=expires_on,
            )
            Custody.objects.create(
                coop=self.bench.coop,
                maker=self.bench.maker,
                lot=lot,
                material=material,
                status=status,
            )
        if quantity:
            self.put(lot, quantity, value, on=on)
        return lot

    def move(
        self, source: str | UUID, to: str | UUID, lot: Lot | None, q: str, value: str | None = None
    ) -> Move:
        """So much from one place to another."""
        worth = None if value is None else D(value)
        return Move(self.at(source), self.at(to), None if lot is None else lot.id, D(q), worth)

    def post(
        self, *moves: Move, kind: str = "issue", on: datetime | None = None, **more: Any
    ) -> Posted:
        """Post these moves as one entry in a transaction of its own."""
        with acting_as(self.actor):
            return post_entry(
                self.actor, kind=Entry.Kind(kind), happened_at=on or now(), moves=moves, **more
            )

    def put(self, lot: Lot, q: str, value: str, *, on: datetime | None = None) -> UUID:
        """Goods into the store; the entry."""
        return self.post(
            self.move("opening", "store", lot, q, value), kind="receipt", on=on
        ).entry_id

    def take(
        self,
        lot: Lot,
        q: str,
        to: str | UUID = "loss",
        *,
        kind: str = "issue",
        on: datetime | None = None,
        **more: Any,
    ) -> Posted:
        """Goods out of the store."""
        return self.post(self.move("store", to, lot, q), kind=kind, on=on, **more)

    def reverse(self, entry: UUID, *, on: datetime | None = None) -> UUID:
        """Undo an entry; the reversal."""
        with acting_as(self.actor):
            _, posted = reverse_entry(
                self.actor, entry=entry, reason="typed wrongly", happened_at=on or now()
            )
        return posted.entry_id

    def choose(self, formula: str) -> None:
        """Choose the cost formula of all materials."""
        with acting_as(self.actor):
            choose_cost_formula(
                self.actor,
                cost_class=self.material.cost_class,
                formula=formula,
                reason="as agreed with the bookkeeper",
                happened_at=now(),
            )

    def reserve(self, lot: Lot, q: str, batch: UUID) -> None:
        """Promise so much of a lot to a batch."""
        with acting_as(self.actor):
            Reservation.objects.create(
                coop=self.bench.coop,
                maker=self.bench.maker,
                account_id=batch,
                lot=lot,
                material_id=lot.material_id,
                quantity=D(q),
            )

    def held(self, lot: Lot, place: str | UUID = "store") -> Pair:
        """Quantity and value that a place has of a lot."""
        with acting_as(self.actor):
            rows = Holding.objects.filter(lot=lot, account_id=self.at(place))
            return rows.values_list("quantity", "value").first() or (D(0), D(0))

    def layers(
        self, material: Material | None = None
    ) -> list[tuple[UUID | None, Decimal, Decimal]]:
        """Lot, quantity and value of the cost layers that are left, in their order."""
        with acting_as(self.actor):
            rows = Layer.objects.filter(material=material or self.material, quantity__gt=0)
            return list(rows.order_by("ordinal").values_list("lot_id", "quantity", "value"))

    def worth(self, material: Material | None = None) -> Pair:
        """Quantity and value of all that is in store of a material."""
        layers = self.layers(material)
        return sum((q for _, q, _ in layers), D(0)), sum((v for *_, v in layers), D(0))

    def disagreements(self) -> list[tuple[str, Any]]:
        """What the ledger's own proof finds wrong."""
        with acting_as(self.actor), connection.cursor() as cursor:
            cursor.execute("select rule, detail from ledger_disagreements()")
            return list(cursor.fetchall())


@contextmanager
def raw(
    database: Server, role: str, books: "Books | None" = None
) -> Iterator["psycopg.Cursor[Any]"]:
    """A cursor of that role past all our Python, inside the books' walls; rolled back at the end.

    The role "" is the superuser's own.
    """
    with psycopg.connect(database.url_admin) as session, session.cursor() as cursor:
        if role:
            cursor.execute(f"set role {role}")
        if books is not None:
            cursor.execute(
                "select set_config('app.coop', %s, true), set_config('app.maker', %s, true)",
                [str(books.bench.coop.id), str(books.bench.maker.id)],
            )
        yield cursor
        session.rollback()


def refused_by(error: BaseException) -> str | None:
    """The name of the constraint that refused."""
    cause = error if isinstance(error, psycopg.Error) else error.__cause__
    return cause.diag.constraint_name if isinstance(cause, psycopg.Error) else None
