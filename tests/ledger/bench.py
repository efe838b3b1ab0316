"""A maker's bench for tests: a co-op of its own, and stock put on the shelf in one line."""

import itertools
import uuid
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.auth import get_user_model

from ledger.access import Actor, acting_as
from ledger.entries import Move, account, open_account, post_entry
from ledger.makers import actor_for, open_coop, open_maker
from ledger.models import (
    Account,
    Coop,
    Custody,
    Entry,
    Lot,
    Maker,
    Material,
    Membership,
    Outbox,
    Reservation,
    Shortfall,
)
from ledger.outbox import drain

_numbers = itertools.count(1)


def now() -> datetime:
    """The moment it is."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Bench:
    """A maker with its owner."""

    coop: Coop
    maker: Maker
    actor: Actor
    email: str

    def as_role(self, role: str) -> Actor:
        """The same person in another role."""
        return replace(self.actor, role=role)

    def material(self, name: str = "", **columns: Any) -> Material:
        """A material of the co-op, by mass unless said otherwise."""
        name = name or f"Glycerin {next(_numbers)}"
        with acting_as(self.actor):
            return Material.objects.create(
                coop=self.coop, name=name, **{"measured_by": "mass", **columns}
            )

    def lot(
        self,
        material: Material,
        quantity: str,
        *,
        status: str = "released",
        value: str = "0",
        expires_on: date | None = None,
        arrived_on: date = date(2026, 1, 2),
    ) -> Lot:
        """A lot of so many grams or pieces in the store, by an opening entry."""
        with acting_as(self.actor):
            lot = Lot.objects.create(
                coop=self.coop,
                code=f"L{next(_numbers)}",
                material=material,
                origin=self.maker,
                arrived_on=arrived_on,
                expires_on=expires_on,
            )
            Custody.objects.create(
                coop=self.coop, maker=self.maker, lot=lot, material=material, status=status
            )
            self._move(lot, Account.Kind.OPENING, Account.Kind.STORE, quantity, Decimal(value))
        return lot

    def spill(self, lot: Lot, quantity: str) -> None:
        """Lose some of a lot."""
        with acting_as(self.actor):
            self.spill_within(lot, quantity)

    def spill_within(self, lot: Lot, quantity: str) -> None:
        """The same, in the open transaction."""
        self._move(lot, Account.Kind.STORE, Account.Kind.LOSS, quantity, None)

    def _move(
        self,
        lot: Lot,
        source: Account.Kind,
        target: Account.Kind,
        quantity: str,
        value: Decimal | None,
    ) -> None:
        names = {
            Account.Kind.OPENING: "opening stock",
            Account.Kind.STORE: "store",
            Account.Kind.LOSS: "spill",
        }
        kind = Entry.Kind.OPENING if source == Account.Kind.OPENING else Entry.Kind.ISSUE
        move = Move(
            account(self.actor, source, names[source]),
            account(self.actor, target, names[target]),
            lot.id,
            Decimal(quantity),
            value,
        )
        post_entry(self.actor, kind=kind, happened_at=now(), moves=[move])

    def decide(self, lot: Lot, status: str) -> None:
        """Set a lot's status where no decision's paper is wanted."""
        with acting_as(self.actor):
            Custody.objects.filter(lot=lot).update(status=status)

    def plan(self, material: Material, reserved: dict[Lot, str], short: str = "0") -> None:
        """A planned batch: what it was promised of each lot, and what it could not be."""
        with acting_as(self.actor):
            batch = open_account(self.actor, Account.Kind.BATCH, str(uuid.uuid4()))
            common = {"coop": self.coop, "maker": self.maker, "account_id": batch}
            for lot, quantity in reserved.items():
                Reservation.objects.create(
                    lot=lot, material=material, quantity=Decimal(quantity), **common
                )
            Shortfall.objects.create(material=material, quantity=Decimal(short), **common)

    def owed(self, **filters: Any) -> list[Outbox]:
        """The maker's rows of the outbox, oldest first."""
        with acting_as(self.actor):
            return list(Outbox.objects.filter(maker=self.maker, **filters).order_by("id"))


def open_bench(
    name: str = "North Bench",
    *,
    coop: Coop | None = None,
    time_zone: str = "UTC",
    email: str | None = None,
) -> Bench:
    """Open a maker in `coop`, or in a new one; `email` "" is an owner without an address."""
    number = next(_numbers)
    address = f"owner{number}@example.org" if email is None else email
    owner = get_user_model().objects.create(username=f"owner-{uuid.uuid4()}", email=address)
    if coop is None:
        coop = open_coop(
            name=f"Harbour Makers {number}",
            currency="USD",
            time_zone=time_zone,
            coordinator=owner,
        )
    maker = open_maker(coop=coop, name=name, owner=owner)
    return Bench(coop, maker, actor_for(coop, maker.id, owner.pk, Membership.Role.OWNER), address)


def work_off() -> None:
    """Do all that is due, of this test and of those before."""
    drain(timedelta(seconds=60))
