"""Watches and alerts: what counts, when an alert opens and closes, and what the owner is told."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core import mail
from django.db import IntegrityError, transaction

from deploy.embedded import Server
from ledger import alert_answers, alerts
from ledger.access import acting_as, set_walls
from ledger.errors import DensityMissing, Forbidden, Invalid, NotFound, Stale
from ledger.models import Alert, Lot, Material, Watch
from ledger.quantities import parse_quantity
from tests.ledger.bench import Bench, now, open_bench, work_off

pytestmark = pytest.mark.usefixtures("database")


def watch(bench: Bench, material: Material, point: str) -> Watch:
    with acting_as(bench.actor):
        return alerts.set_watch(
            bench.actor, material=material.id, reorder_point=parse_quantity(point)
        )


def opened(bench: Bench, *, open: bool | None = None) -> list[Alert]:
    with acting_as(bench.actor):
        return list(alert_answers.alerts(bench.actor, open=open).order_by("id"))


def mails_to(bench: Bench) -> list[mail.EmailMessage]:
    return [message for message in mail.outbox if bench.email in message.to]


def sweep(bench: Bench, moment: datetime) -> int | None:
    with transaction.atomic(durable=True):
        set_walls(bench.coop.id, None)
        return alerts.sweep(bench.coop.id, now=moment)


def scenario(bench: Bench) -> tuple[Material, Lot]:
    """26.0 kg on hand, of which 4.5 in quarantine and 3.0 reserved, to a point of 22.82 kg."""
    material = bench.material()
    free = bench.lot(material, "21500")
    held = bench.lot(material, "4500", status="quarantine")
    bench.plan(material, {free: "3000"})
    watch(bench, material, "22.82 kg")
    return material, held


def test_an_alert_ignores_what_is_in_quarantine_or_promised() -> None:
    """Reorder point 22.82 kg (daily use 1.8 ± 0.6 kg, lead time 9 ± 2 days, z = 1.645): the
    26.0 kg on hand look like plenty, the position of 18.5 kg is not."""
    bench = open_bench()
    scenario(bench)
    work_off()
    work_off()
    (alert,) = opened(bench)
    assert (alert.position, alert.reorder_point) == (Decimal(18500), Decimal(22820))
    assert (alert.kind, alert.closed_at) == ("low_stock", None)
    assert len(mails_to(bench)) == 1


def test_stock_above_the_point_stays_silent() -> None:
    bench = open_bench()
    material = bench.material()
    bench.lot(material, "22820.000001")
    watch(bench, material, "22.82 kg")
    work_off()
    assert opened(bench) == []
    assert mails_to(bench) == []


def test_exactly_at_the_point_is_low() -> None:
    bench = open_bench()
    material = bench.material()
    bench.lot(material, "22820")
    watch(bench, material, "22.82 kg")
    work_off()
    assert len(opened(bench)) == 1


def test_what_a_batch_could_not_be_promised_counts_too() -> None:
    bench = open_bench()
    material = bench.material()
    lot = bench.lot(material, "10000")
    bench.plan(material, {lot: "2000"}, short="3000")
    bench.plan(material, {}, short="500")
    watch(bench, material, "5 kg")
    work_off()
    (alert,) = opened(bench)
    assert alert.position == Decimal(4500)


def test_an_alert_closes_above_the_point_and_opens_anew() -> None:
    bench = open_bench()
    material, held = scenario(bench)
    work_off()
    bench.decide(held, "released")
    with acting_as(bench.actor):
        alerts.enqueue_checks(bench.actor, [material.id])
    work_off()
    (first,) = opened(bench)
    assert first.closed_at is not None
    bench.spill(held, "1000")
    work_off()
    assert [alert.closed_at is None for alert in opened(bench)] == [False, True]
    assert len(mails_to(bench)) == 2
    assert opened(bench, open=True)[0].position == Decimal(22000)
    assert [alert.id for alert in opened(bench, open=False)] == [first.id]


def test_more_entries_while_it_is_open_say_nothing_new() -> None:
    bench = open_bench()
    material = bench.material()
    lot = bench.lot(material, "5000")
    watch(bench, material, "6 kg")
    work_off()
    for _ in range(3):
        bench.spill(lot, "100")
        work_off()
    assert len(opened(bench)) == len(mails_to(bench)) == 1


def test_an_entry_owes_one_check_of_each_watched_material_it_touches() -> None:
    bench = open_bench()
    watched, other = bench.material(), bench.material()
    lots = [bench.lot(watched, "5000"), bench.lot(other, "5000")]
    watch(bench, watched, "1 kg")
    work_off()
    for lot in lots:
        bench.spill(lot, "1")
        bench.spill(lot, "1")
    waiting = bench.owed(done_at=None)
    assert [(row.task, row.subject) for row in waiting] == [("check_watch", watched.id)]


def test_expiry_opens_an_alert_on_the_day_where_the_co_op_is() -> None:
    """On 30 June at 13:00 UTC it is 1 July in Auckland."""
    bench = open_bench(time_zone="Pacific/Auckland")
    material = bench.material()
    bench.lot(material, "5000", expires_on=date(2026, 6, 30))
    watch(bench, material, "1 kg")
    before = datetime(2026, 6, 30, 11, tzinfo=UTC)
    for moment in (before, before + timedelta(hours=2)):
        with acting_as(bench.actor):
            alerts.look_at(bench.coop.id, bench.maker.id, material.id, now=moment)
        assert len(opened(bench)) == (moment > before)


def test_a_sweep_owes_a_check_where_time_has_changed_the_answer() -> None:
    bench = open_bench()
    ageing, steady = bench.material(), bench.material()
    today = now().date()
    bench.lot(ageing, "5000", expires_on=today + timedelta(days=1))
    bench.lot(steady, "5000")
    for material in (ageing, steady):
        watch(bench, material, "1 kg")
    work_off()
    assert opened(bench) == []
    assert sweep(bench, now()) == 0
    assert sweep(bench, now() + timedelta(days=2)) == 1
    (row,) = bench.owed(done_at=None, task="check_watch")
    assert row.subject == ageing.id


def test_two_sweeps_in_one_hour_are_one() -> None:
    bench = open_bench()
    material = bench.material()
    bench.lot(material, "5000", expires_on=now().date())
    watch(bench, material, "1 kg")
    work_off()
    moment = (now() + timedelta(days=2)).replace(minute=0)
    assert sweep(bench, moment) == 1
    assert sweep(bench, moment + timedelta(minutes=59)) is None
    # The same check still waits, so it is not owed twice.
    assert sweep(bench, moment + timedelta(hours=1)) == 0
    owed = [row.task for row in bench.owed(done_at=None)]
    assert sorted(owed) == ["check_watch", "review_alerts"]


def test_a_sweep_finds_an_alert_that_should_be_closed() -> None:
    bench = open_bench()
    _, held = scenario(bench)
    work_off()
    # The status changes behind the verb's back, as by hand in the database.
    bench.decide(held, "released")
    assert sweep(bench, now()) == 1
    work_off()
    assert opened(bench, open=True) == []


def test_a_sweep_says_what_a_check_says() -> None:
    """Of what is promised, lacking, stopped, out of date or not there at all, of two makers."""
    bench = open_bench()
    mill = open_bench("Mill Bench", coop=bench.coop)
    today = now().date()
    for maker, points in ((bench, ("2 kg", "3 kg")), (mill, ("3 kg", "2 kg"))):
        for point in points:
            material = maker.material()
            free = maker.lot(material, "6000")
            maker.lot(material, "9000", status="hold")
            maker.lot(material, "9000", expires_on=today - timedelta(days=1))
            maker.lot(material, "500", expires_on=today)
            maker.plan(material, {free: "3000"}, short="600")
            watch(maker, material, point)
        watch(maker, maker.material(), "1 g")
    work_off()
    assert [alert.position for alert in opened(bench)] == [Decimal(2900), Decimal(0)]
    assert len(opened(mill)) == 2
    assert sweep(bench, now()) == 0
    assert sweep(bench, now() + timedelta(days=1)) == 0, "500 g less is low no more often"
    with acting_as(bench.actor):
        Alert.objects.filter(maker=bench.maker).update(closed_at=now())
    assert sweep(bench, now() + timedelta(days=2)) == 2


def test_every_co_op_is_swept_with_its_own_makers() -> None:
    benches = [open_bench(), open_bench()]
    benches.append(open_bench("Mill Bench", coop=benches[0].coop))
    for bench in benches:
        material = bench.material()
        bench.lot(material, "5000", expires_on=now().date())
        watch(bench, material, "1 kg")
    work_off()
    assert alerts.sweep_all(now=now() + timedelta(days=2)) >= 3
    for task in ("check_watch", "review_alerts"):
        assert [len(bench.owed(done_at=None, task=task)) for bench in benches] == [1, 1, 1]


def test_a_volume_becomes_grams_by_the_material_s_density() -> None:
    bench = open_bench()
    thick = bench.material(density=Decimal("1.26"), density_entered="1.26 g/mL")
    kept = watch(bench, thick, "4 gal")
    # 4 x 3785.411784 mL x 1.26 g/mL
    assert (kept.reorder_point, kept.entered) == (Decimal("19078.475391"), "4 gal")
    with pytest.raises(DensityMissing):
        watch(bench, bench.material(), "4 gal")
    counted = bench.material(measured_by="count")
    assert watch(bench, counted, "60 each").reorder_point == 60


def test_setting_a_watch_again_changes_it_and_looks_anew() -> None:
    bench = open_bench()
    material = bench.material()
    bench.lot(material, "5000")
    watch(bench, material, "1 kg")
    work_off()
    assert watch(bench, material, "6 kg").version == 2
    work_off()
    assert len(opened(bench, open=True)) == 1
    with acting_as(bench.actor):
        assert [row.reorder_point for row in alerts.watches(bench.actor)] == [Decimal(6000)]


def test_a_change_of_an_older_version_is_refused() -> None:
    bench = open_bench()
    material = bench.material()
    watch(bench, material, "1 kg")
    for version in (2, 0):
        with pytest.raises(Stale), acting_as(bench.actor):
            alerts.set_watch(
                bench.actor,
                material=material.id,
                reorder_point=parse_quantity("2 kg"),
                version=version,
            )
        with pytest.raises(Stale), acting_as(bench.actor):
            alerts.drop_watch(bench.actor, material=material.id, now=now(), version=version)
    with acting_as(bench.actor):
        assert alerts.watch_for(bench.actor, material.id).reorder_point == 1000


def test_dropping_a_watch_closes_its_alert() -> None:
    bench = open_bench()
    material, _ = scenario(bench)
    work_off()
    with acting_as(bench.actor):
        alerts.drop_watch(bench.actor, material=material.id, now=now())
    assert opened(bench, open=True) == []
    with pytest.raises(NotFound), acting_as(bench.actor):
        alerts.watch_for(bench.actor, material.id)
    with pytest.raises(NotFound), acting_as(bench.actor):
        alerts.drop_watch(bench.actor, material=material.id, now=now())


def test_a_check_that_outlived_its_watch_does_nothing() -> None:
    bench = open_bench()
    material = bench.material()
    watch(bench, material, "1 kg")
    with acting_as(bench.actor):
        alerts.drop_watch(bench.actor, material=material.id, now=now())
    work_off()
    assert opened(bench) == []
    assert bench.owed(done_at=None) == []


def test_water_from_the_tap_is_never_low() -> None:
    bench = open_bench()
    with pytest.raises(Invalid, match="never runs low"):
        watch(bench, bench.material(stocked=False), "1 kg")


def test_who_may_only_read_sets_no_watch() -> None:
    bench = open_bench()
    material = bench.material()
    reader = bench.as_role("read-only")
    with pytest.raises(Forbidden), acting_as(reader):
        alerts.set_watch(reader, material=material.id, reorder_point=parse_quantity("1 kg"))
    with pytest.raises(Forbidden), acting_as(reader):
        alerts.drop_watch(reader, material=material.id, now=now())
    coordinator = bench.as_role("coordinator")
    with pytest.raises(Forbidden), acting_as(coordinator):
        alert_answers.alerts(coordinator)


def test_a_neighbour_sees_neither_watch_nor_alert() -> None:
    bench = open_bench()
    material, _ = scenario(bench)
    work_off()
    (alert,) = opened(bench)
    for neighbour in (open_bench("Mill Bench", coop=bench.coop), open_bench()):
        assert opened(neighbour) == []
        with pytest.raises(NotFound), acting_as(neighbour.actor):
            alert_answers.alert_for(neighbour.actor, alert.id)
        with pytest.raises(NotFound), acting_as(neighbour.actor):
            alerts.watch_for(neighbour.actor, material.id)
        with acting_as(neighbour.actor):
            assert not Alert.objects.filter(id=alert.id).exists()
            assert not Watch.objects.filter(material_id=material.id).exists()
    with acting_as(bench.actor):
        assert alert_answers.alert_for(bench.actor, str(alert.id)).id == alert.id


def test_a_neighbour_s_own_recipe_cannot_be_watched() -> None:
    bench = open_bench()
    neighbour = open_bench("Mill Bench", coop=bench.coop)
    secret = bench.material(maker=bench.maker)
    with pytest.raises(NotFound):
        watch(neighbour, secret, "1 kg")


def test_the_same_material_is_watched_by_each_maker_for_itself() -> None:
    bench = open_bench()
    neighbour = open_bench("Mill Bench", coop=bench.coop)
    material = bench.material()
    bench.lot(material, "5000")
    neighbour.lot(material, "500")
    for each in (bench, neighbour):
        watch(each, material, "1 kg")
    work_off()
    assert opened(bench) == []
    assert [alert.position for alert in opened(neighbour)] == [Decimal(500)]
    assert mails_to(bench) == []
    assert len(mails_to(neighbour)) == 1


def test_the_database_keeps_a_second_open_alert_out(database: Server) -> None:
    bench = open_bench()
    material, _ = scenario(bench)
    work_off()
    with pytest.raises(IntegrityError, match="alert_open_once"), acting_as(bench.actor):
        Alert.objects.create(
            coop=bench.coop,
            maker=bench.maker,
            kind="low_stock",
            subject=material.id,
            material=material,
            position=1,
            reorder_point=1,
            opened_at=now(),
        )
