"""Alerts of lots: what ends before it is used, what is to be retested, what waits too long."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from ledger import alert_answers, reviewing
from ledger.access import acting_as
from ledger.alert_settings import Choices, choose
from ledger.models import Account, Alert, Custody, Lot, Watch
from ledger.opened_lots import say_opened
from ledger.usage_reading import DAYS_OF_USE, mean_daily_use, read_usage
from tests.ledger.bench import Bench, now, open_bench

pytestmark = pytest.mark.usefixtures("database")


def reviewed(bench: Bench, at: datetime | None = None) -> dict[str, list[Alert]]:
    """The open alerts by kind, after a review."""
    with acting_as(bench.actor):
        reviewing.review(bench.coop.id, bench.maker.id, now=at or now())
        found: dict[str, list[Alert]] = {}
        for alert in alert_answers.alerts(bench.actor, open=True).order_by("id"):
            found.setdefault(alert.kind, []).append(alert)
    return found


def in_days(days: int) -> date:
    return now().date() + timedelta(days=days)


def days_on(days: int) -> datetime:
    return now() + timedelta(days=days)


@pytest.fixture
def bench() -> Bench:
    return open_bench()


def used_lot(bench: Bench, quantity: str, expires_on: date) -> Lot:
    """A lot of which 100 g went yesterday, as far as tomorrow can tell."""
    lot = bench.lot(bench.material(), quantity, expires_on=expires_on)
    bench.spill(lot, "100")
    return lot


def test_within_the_chosen_days_a_lot_is_told_of_whatever_is_used(bench: Bench) -> None:
    near = bench.lot(bench.material(), "500", expires_on=in_days(30))
    bench.lot(bench.material(), "500", expires_on=in_days(31))
    bench.lot(bench.material(), "500")
    (alert,) = reviewed(bench)["expiring"]
    assert (alert.subject, alert.lot_id, alert.material_id) == (near.id, near.id, near.material_id)
    assert alert.facts["at_risk"] == "500.000000"
    assert (alert.facts["expires_on"], alert.facts["others"]) == (in_days(30).isoformat(), 0)


def test_a_later_lot_is_told_of_when_it_will_not_be_used_up(bench: Bench) -> None:
    """Tomorrow: 100 g a day until a day in 60 days is 6000 g, of 10 000 g."""
    lot = used_lot(bench, "10100", in_days(60))
    used_lot(bench, "6100", in_days(60))
    (alert,) = reviewed(bench, days_on(1))["expiring"]
    assert alert.subject == lot.id
    assert (alert.facts["daily_use"], alert.facts["at_risk"]) == ("100.000000", "4000.000000")


def test_it_clears_by_itself_and_says_nothing_twice(bench: Bench) -> None:
    lot = bench.lot(bench.material(), "500", expires_on=in_days(3))
    (first,) = reviewed(bench)["expiring"]
    assert [one.id for one in reviewed(bench)["expiring"]] == [first.id]
    bench.spill(lot, "500")
    assert "expiring" not in reviewed(bench)


def test_an_open_lot_is_told_of_within_its_days(bench: Bench) -> None:
    material = bench.material(use_within_days=90)
    sealed, open_one, old, other = (
        bench.lot(material, "500", expires_on=expires)
        for expires in (None, None, in_days(12), in_days(300))
    )
    for lot, day in ((open_one, -70), (old, -70), (other, -20)):
        with acting_as(bench.actor):
            say_opened(bench.actor, lot=lot.id, opened_on=in_days(day))
    found = {alert.subject: alert.facts for alert in reviewed(bench)["expiring"]}
    assert found.keys() == {open_one.id, old.id}
    facts = found[open_one.id]
    assert (facts["expires_on"], facts["use_by"]) == (None, in_days(20).isoformat())
    assert facts["opened_on"] == in_days(-70).isoformat()
    assert found[old.id]["expires_on"] == in_days(12).isoformat()
    assert "use_by" not in found[old.id], "it expires before that"
    with acting_as(bench.actor):
        say_opened(bench.actor, lot=open_one.id, opened_on=None, reason="it was the other")
    assert [alert.subject for alert in reviewed(bench)["expiring"]] == [old.id]
    assert sealed.id not in found


def test_what_was_rejected_is_of_no_interest(bench: Bench) -> None:
    lot = bench.lot(bench.material(), "500", expires_on=in_days(3))
    bench.decide(lot, "rejected")
    assert reviewed(bench) == {}


def test_a_retest_that_is_due(bench: Bench) -> None:
    """The row is as a delivery makes it; only a retest may move its day."""
    material = bench.material()
    common = {"coop": bench.coop, "material": material, "origin": bench.maker}
    for code, days in (("R14", 14), ("R15", 15)):
        with acting_as(bench.actor):
            lot = Lot.objects.create(
                code=code, arrived_on=in_days(-9), retest_on=in_days(days), **common
            )
            own = {"coop": bench.coop, "maker": bench.maker, "material": material}
            Custody.objects.create(lot=lot, status="released", **own)
            bench._move(lot, Account.Kind.OPENING, Account.Kind.STORE, "500", Decimal(0))
    (alert,) = reviewed(bench)["retest_due"]
    assert (alert.facts["lot"], alert.facts["retest_on"]) == ("R14", in_days(14).isoformat())
    assert len(reviewed(bench, days_on(1))["retest_due"]) == 2


def test_what_waits_in_quarantine_too_long(bench: Bench) -> None:
    lot = bench.lot(bench.material(), "500", status="quarantine")
    assert reviewed(bench, days_on(6)) == {}
    (alert,) = reviewed(bench, days_on(7))["quarantine_ageing"]
    assert alert.subject == lot.id
    assert alert.facts["since"] == now().date().isoformat()
    bench.decide(lot, "released")
    assert reviewed(bench, days_on(8)) == {}


def test_the_days_are_the_maker_s_to_choose(bench: Bench) -> None:
    with acting_as(bench.actor):
        choose(bench.actor, Choices(expiring_days=5, quarantine_days=0))
    bench.lot(bench.material(), "500", expires_on=in_days(6))
    waiting = bench.lot(bench.material(), "500", status="quarantine")
    found = reviewed(bench)
    assert [alert.subject for alert in found["quarantine_ageing"]] == [waiting.id]
    assert "expiring" not in found


@pytest.mark.parametrize(
    ("tells", "others", "names"),
    [("nobody", 0, []), ("counted", 1, []), ("named", 1, ["Mill Bench"])],
)
def test_others_are_told_of_only_as_they_wish(
    bench: Bench, tells: str, others: int, names: list[str]
) -> None:
    mill = open_bench("Mill Bench", coop=bench.coop)
    elsewhere = open_bench()
    material = bench.material()
    for other in (mill, elsewhere):
        with acting_as(other.actor):
            choose(other.actor, Choices(use_told=tells))
    mill.lot(material, "50")
    bench.lot(material, "500", expires_on=in_days(3))
    own = bench.material(maker=bench.maker)
    bench.lot(own, "500", expires_on=in_days(3))
    shared, private = reviewed(bench)["expiring"]
    assert (shared.facts["others"], shared.facts["others_named"]) == (others, names)
    assert private.facts["others"] == 0, "of what one makes oneself nobody else has a use"


def test_whoever_watches_it_uses_it(bench: Bench) -> None:
    mill = open_bench("Mill Bench", coop=bench.coop)
    material = bench.material()
    with acting_as(mill.actor):
        choose(mill.actor, Choices(use_told="counted"))
        Watch.objects.create(
            coop=bench.coop, maker=mill.maker, material=material, reorder_point=1, entered="1 g"
        )
    bench.lot(material, "500", expires_on=in_days(3))
    (alert,) = reviewed(bench)["expiring"]
    assert alert.facts["others"] == 1


def test_the_days_are_those_where_the_co_op_is() -> None:
    """At 13:00 UTC on 30 June it is 1 July in Auckland, 30 days before the 31st."""
    bench = open_bench(time_zone="Pacific/Auckland")
    bench.lot(bench.material(), "500", expires_on=date(2026, 7, 31))
    before = datetime(2026, 6, 30, 11, tzinfo=UTC)
    assert reviewed(bench, before) == {}
    assert len(reviewed(bench, before + timedelta(hours=2))["expiring"]) == 1


def test_the_mean_is_that_of_the_usage(bench: Bench) -> None:
    """One query for many materials says what the usage of each says by itself."""
    lots = [bench.lot(bench.material(), "5000") for _ in range(3)]
    bench.spill(lots[0], "90")
    bench.spill(lots[1], "0.5")
    for days in (1, 7, DAYS_OF_USE):
        at, today = days_on(days), in_days(days)
        wanted = [lot.material_id for lot in lots]
        with acting_as(bench.actor):
            found = mean_daily_use(bench.coop.id, bench.maker.id, wanted, today=today)
            for lot in lots[:2]:
                usage = read_usage(
                    bench.actor,
                    material=lot.material_id,
                    period="day",
                    periods=DAYS_OF_USE,
                    now=at,
                )
                mean = sum(usage.series, Decimal(0)) / len(usage.series)
                assert abs(found[lot.material_id] - mean) < Decimal("1e-9")
        assert lots[2].material_id not in found
    with acting_as(bench.actor):
        after = in_days(DAYS_OF_USE + 1)
        assert mean_daily_use(bench.coop.id, bench.maker.id, wanted, today=after) == {}


def test_quarantine_counts_in_the_maker_s_own_say(bench: Bench) -> None:
    lot = bench.lot(bench.material(), "500", status="quarantine")
    with acting_as(bench.actor):
        Custody.objects.filter(lot=lot).update(since=days_on(-7))
    assert len(reviewed(bench)["quarantine_ageing"]) == 1
