"""Settlement accounts sum to zero whatever happens, and a clearing that is paid leaves nothing."""

import random
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import psycopg
import pytest
from django.db import DatabaseError, connection

from deploy.embedded import Server
from ledger.access import Actor, acting_as
from ledger.coop_clearing import clear_coop, payments_of, propose
from ledger.errors import Forbidden
from ledger.ids import new_id
from ledger.models import Movement
from ledger.quantities import parse_quantity
from ledger.settling import balances_of, record_payment, undo_payment
from ledger.transferring import accept_transfer, offer_transfer
from tests.ledger.bench import now, open_bench
from tests.ledger.books import Books, raw, refused_by

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def neighbours(count: int) -> list[Books]:
    first = Books("fifo")
    return [
        first,
        *(Books(bench=open_bench(f"Bench {n}", coop=first.bench.coop)) for n in range(1, count)),
    ]


def pay(payer: Actor, payee: Actor, amount: Decimal) -> UUID:
    with acting_as(payer):
        made = record_payment(
            payer, maker=payee.maker, amount=amount, paid=True, happened_at=now(), note="cash"
        )
    return made.id


def give(giver: Books, taker: Books, price: Decimal) -> None:
    lot = giver.lot("100", "7")
    with acting_as(giver.actor):
        offer = offer_transfer(
            giver.actor,
            maker=taker.actor.maker,
            lot=lot.id,
            quantity=parse_quantity("100 g"),
            price=price,
            happened_at=now() - timedelta(hours=1),
        )
    with acting_as(taker.actor):
        accept_transfer(taker.actor, transfer=offer.id, happened_at=now())


def proved(books: Books) -> list[Any]:
    """What the proof of the whole co-op finds wrong."""
    whole = replace(books.actor, maker_id=None)
    with acting_as(whole), connection.cursor() as cursor:
        cursor.execute("select rule, detail from ledger_disagreements()")
        return list(cursor.fetchall())


def net(books: Books) -> Decimal:
    with acting_as(books.actor):
        return sum((one.amount for one in balances_of(books.actor)), D(0))


@pytest.mark.parametrize("seed", range(4))
def test_all_accounts_sum_to_zero_and_a_clearing_leaves_none(seed: int) -> None:
    chance = random.Random(seed)
    makers = neighbours(4)
    for _ in range(12):
        one, other = chance.sample(makers, 2)
        amount = D(chance.randrange(1, 2000)) / 100
        match chance.randrange(3):
            case 0:
                give(one, other, amount)
            case 1:
                pay(one.actor, other.actor, amount)
            case _:
                made = pay(one.actor, other.actor, amount)
                with acting_as(other.actor):
                    undo_payment(other.actor, movement=made, reason="slip", happened_at=now())
        assert sum((net(maker) for maker in makers), D(0)) == 0
    before = [net(maker) for maker in makers]
    coordinator = replace(makers[0].actor, maker_id=None, role="coordinator")
    with acting_as(coordinator):
        proposal = propose(coordinator)
        assert {one.maker: one.amount for one in proposal.positions} == {
            maker.actor.maker: amount for maker, amount in zip(makers, before, strict=True)
        }
        clearing = clear_coop(coordinator, happened_at=now())
        due = payments_of(coordinator, [clearing])[clearing.id]
    assert len(due) == proposal.at_least
    assert [net(maker) for maker in makers] == before, "nobody owes more or less in all"
    actors = {maker.actor.maker: maker.actor for maker in makers}
    for payment in due:
        pay(actors[payment.maker_id], actors[payment.to_maker_id], payment.amount)
    for maker in makers:
        with acting_as(maker.actor):
            assert {one.amount for one in balances_of(maker.actor)} <= {D(0)}
    assert proved(makers[0]) == []


def test_a_maker_asks_for_no_balance_but_its_own(database: Server) -> None:
    one, other = neighbours(2)
    pay(one.actor, other.actor, D(5))
    with pytest.raises(psycopg.Error) as refused, raw(database, "stillroom", one) as cursor:
        cursor.execute("select * from ledger_coop_balances()")
    assert refused_by(refused.value) == "transfer_is_there"
    stranger = replace(one.actor, role="coordinator")
    with acting_as(stranger), pytest.raises(Forbidden) as forbidden:
        propose(stranger)
    assert "coordinator" in str(forbidden.value)


def test_movements_are_written_by_the_ledger_and_never_changed(database: Server) -> None:
    one, other = neighbours(2)
    made = pay(one.actor, other.actor, D(5))
    for statement in ("update ledger_movement set amount = 1", "delete from ledger_movement"):
        with pytest.raises(psycopg.Error), raw(database, "stillroom", one) as cursor:
            cursor.execute(statement)
    with acting_as(one.actor):
        kept = Movement.objects.get(id=made)
    kept.id = new_id()
    with pytest.raises(DatabaseError), acting_as(one.actor):
        kept.save(force_insert=True)
