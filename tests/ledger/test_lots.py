"""Decisions about lots: who decided what, when, on what basis, and what came of it."""

from datetime import UTC, date, datetime
from decimal import Decimal
from types import SimpleNamespace
from uuid import UUID

import pytest

from ledger.access import acting_as, day_of
from ledger.errors import Forbidden, Invalid, NotFound, Stale
from ledger.lots import (
    custody_of,
    decide,
    decisions_of,
    last_usable_day,
    measure_density,
    next_lot_codes,
)
from ledger.models import Decision, Lot
from ledger.quantities import parse_density
from ledger.statements import run
from tests.factories import open_workshop
from tests.ledger.bench import open_bench
from tests.ledger.books import Books

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def say(books: Books, lot: Lot, decision: str, basis: str = "looked at it") -> Decision:
    with acting_as(books.actor):
        return decide(books.actor, lot=lot.id, decision=decision, basis=basis)[1]


def test_a_lot_is_what_was_last_decided_and_every_decision_is_kept() -> None:
    books = Books()
    lot = books.lot("10", "1", status="quarantine")
    steps = ["release", "hold", "quarantine", "reject", "release"]
    seen = []
    for decision in steps:
        say(books, lot, decision, f"basis of {decision}")
        with acting_as(books.actor):
            seen.append(custody_of(books.actor, lot).status)
    assert seen == ["released", "hold", "quarantine", "rejected", "released"]
    with acting_as(books.actor):
        kept = [(d.decision, d.basis, d.person_id) for d in decisions_of(books.actor, lot.id)]
    person = books.actor.person_id
    assert kept == [(step, f"basis of {step}", person) for step in reversed(steps)]


def test_a_decision_may_be_taken_again_on_a_new_basis() -> None:
    books = Books()
    lot = books.lot("10", "1")
    say(books, lot, "release", "retested: within limits")
    with acting_as(books.actor):
        assert custody_of(books.actor, lot).status == "released"
        assert [d.basis for d in decisions_of(books.actor, lot.id)] == ["retested: within limits"]


def test_a_decision_says_why() -> None:
    books = Books()
    lot = books.lot("10", "1")
    with pytest.raises(Invalid) as refused:
        say(books, lot, "hold", " ")
    assert refused.value.pointer == "/basis"
    with acting_as(books.actor):
        assert custody_of(books.actor, lot).status == "released"
        assert not Decision.objects.exists()


@pytest.mark.parametrize("role", ["books", "read-only", "coordinator"])
def test_who_may_not_decide_does_not(role: str) -> None:
    books = Books()
    lot = books.lot("10", "1")
    with pytest.raises(Forbidden), acting_as(books.actor):
        decide(books.bench.as_role(role), lot=lot.id, decision="hold", basis="a smell")


def test_another_s_lot_is_not_there() -> None:
    books = Books()
    neighbour = Books(bench=open_bench("Mill Bench", coop=books.bench.coop))
    for other in (neighbour, Books()):
        lot = other.lot("10", "1")
        with pytest.raises(NotFound):
            say(books, lot, "hold")
        with pytest.raises(NotFound), acting_as(books.actor):
            decisions_of(books.actor, lot.id)
        with acting_as(other.actor):
            assert custody_of(other.actor, lot).status == "released"


def test_lots_are_numbered_without_a_gap_in_each_maker_s_own_row() -> None:
    books = Books()
    neighbour = Books(bench=open_bench("North Bay", coop=books.bench.coop))
    with acting_as(books.actor):
        first = next_lot_codes(books.actor, 2)
        second = next_lot_codes(books.actor, 1)
    with acting_as(neighbour.actor):
        other = next_lot_codes(neighbour.actor, 1)
    assert [*first, *second, *other] == ["NB1", "NB2", "NB3", "NBA1"]


def test_a_lot_s_measured_density_replaces_the_one_before() -> None:
    books = Books()
    lot = books.lot("10", "1")
    density = parse_density("1.248 g/mL", "25 degC")
    with acting_as(books.actor):
        measure_density(books.actor, lot=lot.id, density=density, version=1)
        kept = Lot.objects.get(id=lot.id)
    assert (kept.density, kept.density_at, kept.density_entered, kept.version) == (
        D("1.248"),
        25,
        "1.248 g/mL",
        2,
    )
    with pytest.raises(Stale), acting_as(books.actor):
        measure_density(books.actor, lot=lot.id, density=density, version=1)
    pieces = books.lot("10", "1", material=books.bench.material(measured_by="count"))
    with pytest.raises(Invalid) as refused, acting_as(books.actor):
        measure_density(books.actor, lot=pieces.id, density=density, version=None)
    assert refused.value.pointer == "/density"
    with pytest.raises(NotFound), acting_as(books.actor):
        measure_density(books.actor, lot=UUID(int=3), density=density, version=None)


@pytest.mark.parametrize(
    ("expires", "retest", "use_by", "last"),
    [
        *((None, None, None, None), (5, None, None, 5), (None, 4, None, 4), (5, 4, None, 4)),
        *((3, 4, None, 3), (None, None, 6, 6), (5, 4, 3, 3), (5, 4, 6, 4), (3, None, 4, 3)),
    ],
)
def test_the_earliest_date_is_the_last_day(
    expires: int | None, retest: int | None, use_by: int | None, last: int | None
) -> None:
    def on(day: int | None) -> date | None:
        return None if day is None else date(2026, 5, day)

    lot = SimpleNamespace(expires_on=on(expires), retest_on=on(retest))
    assert last_usable_day(lot, on(use_by)) == on(last)
    days = [on(expires), on(retest), on(use_by)]
    (told,) = run("select ledger_last_day(%s::date, %s::date, %s::date)", days).fetchone()
    assert told == on(last)


def test_a_day_is_the_co_op_s() -> None:
    books = Books(bench=open_bench(time_zone="America/New_York"))
    assert day_of(books.actor, datetime(2026, 3, 1, 4, 59, tzinfo=UTC)) == date(2026, 2, 28)
    assert day_of(books.actor, datetime(2026, 3, 1, 5, 0, tzinfo=UTC)) == date(2026, 3, 1)


def test_lot_codes_of_makers_with_the_same_initials_never_meet() -> None:
    """The 21st lot of "NB" must not be spelt as the first of a maker marked "NB2"."""
    first = Books()
    second = Books(bench=open_bench("Narrow Boat", coop=first.bench.coop))
    with acting_as(first.actor):
        codes = next_lot_codes(first.actor, 300)
    with acting_as(second.actor):
        others = next_lot_codes(second.actor, 300)
    assert not {*codes} & {*others}


def test_what_is_not_stocked_is_neither_received_nor_opened() -> None:
    shop = open_workshop()
    water = shop.water()
    with pytest.raises(Invalid, match="not stocked") as refused:
        shop.receive(water, "10 kg", "1.00")
    assert refused.value.pointer == "/lines/0/material"


def test_a_retest_gives_a_new_date_and_never_a_longer_life() -> None:
    shop = open_workshop()
    oil = shop.material("Helianthus Annuus Seed Oil")
    lot = shop.receive(oil, "1 kg", "5.00", expires_on=date(2025, 12, 31))
    with acting_as(shop.actor):
        Lot.objects.filter(id=lot.id).update(retest_on=date(2025, 6, 30))

    def retest(decision: str, day: date) -> Decision:
        return shop.does(
            decide, lot=lot.id, decision=decision, basis="peroxide value 2", retest_on=day
        )[1]

    for decision, day in (
        ("hold", date(2025, 9, 30)),
        ("release", date(2025, 6, 30)),
        ("release", date(2026, 1, 1)),
    ):
        with pytest.raises(Invalid) as refused:
            retest(decision, day)
        assert refused.value.pointer == "/retest_on"
    assert retest("release", date(2025, 9, 30)).retest_on == date(2025, 9, 30)
    with acting_as(shop.actor):
        assert Lot.objects.get(id=lot.id).retest_on == date(2025, 9, 30)


def test_a_lot_without_retest_date_gets_none_by_a_release() -> None:
    shop = open_workshop()
    lot = shop.receive(shop.material("Cera Alba"), "1 kg", "5.00")
    with pytest.raises(Invalid, match="no retest date"):
        shop.does(decide, lot=lot.id, decision="release", basis="seen", retest_on=date(2026, 1, 1))
