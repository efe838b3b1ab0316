"""Who hears of an alert and when: choices, receivers, digests, quiet hours, what is put off."""

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta

import pytest
from django.core import mail
from django.db import IntegrityError

from ledger import alert_answers, alert_mail, alerts, outbox
from ledger.access import acting_as
from ledger.alert_book import Book, Finding
from ledger.alert_settings import Choices, alert_settings, choose
from ledger.announcing import MAIL_DIGEST
from ledger.errors import AlertClosed, Forbidden, Invalid, NotFound, Stale
from ledger.models import Alert, AlertMessage
from ledger.outbox import Work
from ledger.receivers import (
    add_receiver,
    messages,
    receivers,
    remove_receiver,
    renew_secret,
    secrets_of,
    send_test,
)
from tests.ledger.bench import Bench, now, open_bench, work_off
from tests.ledger.test_alerts import mails_to, scenario

pytestmark = pytest.mark.usefixtures("database")
NIGHT = datetime(2026, 7, 1, 23, tzinfo=UTC)


@pytest.fixture
def bench() -> Bench:
    work_off()
    return open_bench()


def chosen(bench: Bench, **choices: object) -> Choices:
    with acting_as(bench.actor):
        return choose(bench.actor, Choices(**choices))  # type: ignore[arg-type]


def found(bench: Bench, kind: str, at: datetime, lots: int = 1) -> list[Alert]:
    """So many alerts of lots, opened at that moment."""
    material = bench.material("Olive oil" + str(now().timestamp()))
    named = [bench.lot(material, "500") for _ in range(lots)]
    facts = {"name": "Olive oil", "counted": False, "quantity": "500", "since": "2026-06-01"}
    with acting_as(bench.actor):
        book = Book(bench.coop.id, bench.maker.id, at)
        return book.open(
            kind,
            [
                Finding(lot.id, {**facts, "lot": lot.code}, material_id=material.id, lot_id=lot.id)
                for lot in named
            ],
        )


def messages_of(bench: Bench) -> list[AlertMessage]:
    with acting_as(bench.actor):
        return list(messages(bench.actor).order_by("id"))


def due(bench: Bench, at: datetime) -> Iterator[Work]:
    """What of this maker's work is due by then, claimed as a worker would."""
    for row in bench.owed(done_at=None, due_at__lte=at):
        yield Work(row.coop_id, row.maker_id, row.id, row.task, row.subject, 1)


def deliver(bench: Bench, at: datetime) -> None:
    """Do this maker's mails as if it were that moment."""
    for work in due(bench, at):
        handler = alert_mail.mail_digest if work.task == MAIL_DIGEST else alert_mail.mail_alert
        handler(work, at)


def test_a_digest_gathers_what_has_opened_and_goes_once(bench: Bench) -> None:
    chosen(bench, digest_hour=7)
    first = found(bench, "quarantine_ageing", NIGHT, lots=2)
    found(bench, "quarantine_ageing", NIGHT + timedelta(hours=2))
    with acting_as(bench.actor):
        Book(bench.coop.id, bench.maker.id, NIGHT).close(first[:1])
    seven = datetime(2026, 7, 2, 7, tzinfo=UTC)
    deliver(bench, seven - timedelta(minutes=1))
    assert mails_to(bench) == []
    deliver(bench, seven)
    deliver(bench, seven + timedelta(hours=1))
    (message,) = mails_to(bench)
    assert message.subject == "2 alerts at North Bench"
    assert str(message.body).count("came into quarantine") == 2
    rows = messages_of(bench)
    assert [row.state for row in rows] == ["dropped", "sent", "sent"]
    assert message.extra_headers["Message-ID"] == f"<{rows[0].digest}@stillroom>"
    assert len({row.digest for row in rows}) == 1


def test_an_empty_digest_is_not_sent(bench: Bench) -> None:
    alerts_made = found(bench, "quarantine_ageing", NIGHT)
    with acting_as(bench.actor):
        Book(bench.coop.id, bench.maker.id, NIGHT).close(alerts_made)
    deliver(bench, NIGHT + timedelta(days=1))
    assert mails_to(bench) == []
    (row,) = bench.owed(task=MAIL_DIGEST)
    assert (row.done_at is not None, row.last_error) == (True, "nothing is left to tell")


def test_nothing_goes_in_quiet_hours_of_the_maker_s_own_zone(bench: Bench) -> None:
    """23:00 UTC is 01:00 in Paris; the quiet ends at 06:30 there, 04:30 UTC."""
    hours = {"quiet_from": time(20), "quiet_until": time(6, 30), "time_zone": "Europe/Paris"}
    chosen(bench, told={"quarantine_ageing": "at_once"}, **hours)
    found(bench, "quarantine_ageing", NIGHT)
    (row,) = messages_of(bench)
    assert row.due_at == datetime(2026, 7, 2, 4, 30, tzinfo=UTC)
    # What failed for a while does not go in the next night, either.
    deliver(bench, datetime(2026, 7, 2, 20, tzinfo=UTC))
    assert mails_to(bench) == []
    (owed,) = bench.owed(task="mail_alert")
    assert (owed.due_at, owed.attempts) == (datetime(2026, 7, 3, 4, 30, tzinfo=UTC), 0)
    deliver(bench, owed.due_at)
    assert len(mails_to(bench)) == 1


def test_a_kind_that_is_never_told_opens_all_the_same(bench: Bench) -> None:
    chosen(bench, told={"quarantine_ageing": "never"})
    with acting_as(bench.actor):
        add_receiver(bench.actor, webhook="https://nowhere.invalid/")
    found(bench, "quarantine_ageing", NIGHT)
    assert messages_of(bench) == []
    with acting_as(bench.actor):
        assert alert_answers.alerts(bench.actor, open=True, kind="quarantine_ageing").count() == 1


def test_each_receiver_has_a_message_of_its_own(bench: Bench) -> None:
    addresses = ["stock@example.org", "night@example.org"]
    with acting_as(bench.actor):
        for address in addresses:
            add_receiver(bench.actor, mail=address)
        gone = add_receiver(bench.actor, mail="gone@example.org").receiver
    scenario(bench)
    work = [Work(r.coop_id, r.maker_id, r.id, r.task, r.subject, 1) for r in bench.owed()]
    for one in work:
        alerts.check_watch(one, now())
    with acting_as(bench.actor):
        remove_receiver(bench.actor, gone.id, now=now())
    deliver(bench, now() + timedelta(seconds=1))
    mine = [one for one in mail.outbox if set(one.to) & {*addresses, "gone@example.org"}]
    assert sorted(one.to[0] for one in mine) == sorted(addresses)
    assert mails_to(bench) == [], "with addresses of its own the owner is not written to"
    ids = {one.extra_headers["Message-ID"] for one in mine}
    assert ids == {f"<{row.id}@stillroom>" for row in messages_of(bench) if row.state == "sent"}
    assert len(ids) == 2
    dropped = [row for row in messages_of(bench) if row.state == "dropped"]
    assert [row.note for row in dropped] == ["the receiver was removed"]


def test_a_program_is_told_of_opening_and_closing(bench: Bench) -> None:
    with acting_as(bench.actor):
        add_receiver(bench.actor, webhook="https://nowhere.invalid/")
    opened = found(bench, "quarantine_ageing", NIGHT)
    with acting_as(bench.actor):
        Book(bench.coop.id, bench.maker.id, NIGHT + timedelta(hours=1)).close(opened)
    told = [row for row in messages_of(bench) if row.receiver_id]
    assert [(row.event, row.due_at) for row in told] == [
        ("opened", NIGHT),
        ("closed", NIGHT + timedelta(hours=1)),
    ]
    assert '"type":"alert.opened"' in told[0].body
    assert f'"id":"{opened[0].id}"' in told[0].body
    assert '"closed_at":null' in told[0].body
    assert '"closed_at":"2026-07-02T00:00:00+00:00"' in told[1].body


def test_the_database_keeps_a_second_message_of_one_event_out(bench: Bench) -> None:
    (alert,) = found(bench, "quarantine_ageing", NIGHT)
    (row,) = messages_of(bench)
    again = {"event": row.event, "of_moment": row.of_moment, "due_at": row.due_at}
    with pytest.raises(IntegrityError, match="alert_message_once"), acting_as(bench.actor):
        AlertMessage.objects.create(coop=bench.coop, maker=bench.maker, alert=alert, **again)


def test_what_was_seen_is_not_mailed(bench: Bench) -> None:
    (alert,) = found(bench, "low_stock", NIGHT)
    with acting_as(bench.actor):
        seen = alert_answers.acknowledge(bench.actor, alert.id, now=NIGHT)
        again = alert_answers.acknowledge(bench.actor, alert.id, now=NIGHT + timedelta(hours=1))
    assert (seen.acknowledged_at, seen.acknowledged_by_id) == (NIGHT, bench.actor.person_id)
    assert again.acknowledged_at == NIGHT, "the first to say so stays"
    deliver(bench, NIGHT)
    assert mails_to(bench) == []
    assert [row.note for row in messages_of(bench)] == ["acknowledged before it was mailed"]


def test_what_is_put_off_is_told_again_if_it_is_still_so(bench: Bench) -> None:
    chosen(bench, told={"quarantine_ageing": "at_once"})
    still, over = found(bench, "quarantine_ageing", NIGHT, lots=2)
    later = NIGHT + timedelta(days=2)
    for alert in (still, over):
        with acting_as(bench.actor):
            alert_answers.snooze(bench.actor, alert.id, until=later, now=NIGHT)
            alert_answers.snooze(bench.actor, alert.id, until=later, now=NIGHT)
    deliver(bench, NIGHT)
    assert mails_to(bench) == []
    with acting_as(bench.actor):
        Book(bench.coop.id, bench.maker.id, NIGHT).close([over])
    deliver(bench, later)
    (message,) = mails_to(bench)
    assert message.subject.startswith("Still so: Lot ")
    assert still.facts["lot"] in message.subject


def test_put_off_twice_it_is_told_once(bench: Bench) -> None:
    chosen(bench, told={"quarantine_ageing": "at_once"})
    (alert,) = found(bench, "quarantine_ageing", NIGHT)
    one, two = NIGHT + timedelta(days=1), NIGHT + timedelta(days=2)
    for until in (one, two, one, two):
        with acting_as(bench.actor):
            alert_answers.snooze(bench.actor, alert.id, until=until, now=NIGHT)
    for moment in (NIGHT, one, two):
        deliver(bench, moment)
    assert len(mails_to(bench)) == 1


def test_a_closed_alert_is_neither_seen_nor_put_off(bench: Bench) -> None:
    (alert,) = found(bench, "quarantine_ageing", NIGHT)
    with acting_as(bench.actor):
        Book(bench.coop.id, bench.maker.id, NIGHT).close([alert])
    later = NIGHT + timedelta(days=1)
    with pytest.raises(AlertClosed), acting_as(bench.actor):
        alert_answers.acknowledge(bench.actor, alert.id, now=NIGHT)
    with pytest.raises(AlertClosed), acting_as(bench.actor):
        alert_answers.snooze(bench.actor, alert.id, until=later, now=NIGHT)


def test_it_is_put_off_to_a_moment_within_a_year(bench: Bench) -> None:
    (alert,) = found(bench, "quarantine_ageing", NIGHT)
    for until in (NIGHT, NIGHT + timedelta(days=400)):
        with pytest.raises(Invalid), acting_as(bench.actor):
            alert_answers.snooze(bench.actor, alert.id, until=until, now=NIGHT)


def test_what_is_chosen_is_kept_and_counted(bench: Bench) -> None:
    with acting_as(bench.actor):
        assert alert_settings(bench.actor) == Choices()
    first = chosen(bench, digest_hour=5, use_told="counted")
    assert (first.digest_hour, first.use_told, first.version) == (5, "counted", 1)
    assert chosen(bench, expiring_days=9) == Choices(expiring_days=9, version=2)
    with pytest.raises(Stale), acting_as(bench.actor):
        choose(bench.actor, Choices(), version=1)


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"time_zone": "Atlantis/Capital"}, "/time_zone"),
        ({"quiet_from": time(20)}, "/quiet_until"),
        ({"quiet_from": time(7), "quiet_until": time(7)}, "/quiet_until"),
    ],
)
def test_choices_that_mean_nothing(bench: Bench, wrong: dict[str, object], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        chosen(bench, **wrong)
    assert refused.value.pointer == pointer


def test_only_an_owner_chooses(bench: Bench) -> None:
    hand = bench.as_role("bench")
    for verb in (lambda: choose(hand, Choices()), lambda: add_receiver(hand, mail="a@example.org")):
        with pytest.raises(Forbidden), acting_as(hand):
            verb()
    with pytest.raises(Forbidden), acting_as(hand):
        receivers(hand)


def test_secrets_are_made_anew_and_overlap_for_a_day(bench: Bench) -> None:
    with acting_as(bench.actor):
        made = add_receiver(bench.actor, webhook="https://nowhere.invalid/")
        renewed = renew_secret(bench.actor, made.receiver.id, now=NIGHT)
    assert made.secret != renewed.secret
    day = timedelta(hours=24)
    assert secrets_of(renewed.receiver, NIGHT + day / 2) == [renewed.secret, made.secret]
    assert secrets_of(renewed.receiver, NIGHT + day) == [renewed.secret]


def test_a_neighbour_sees_no_receiver_and_no_message(bench: Bench) -> None:
    with acting_as(bench.actor):
        made = add_receiver(bench.actor, mail="stock@example.org").receiver
        send_test(bench.actor, made.id, now=NIGHT)
    neighbour = open_bench("Mill Bench", coop=bench.coop)
    with acting_as(neighbour.actor):
        assert not receivers(neighbour.actor).exists()
        assert not messages(neighbour.actor).exists()
        assert not messages(neighbour.actor, receiver=made.id).exists()
        with pytest.raises(NotFound):
            send_test(neighbour.actor, made.id, now=NIGHT)


def test_work_that_is_put_off_is_no_failure(bench: Bench) -> None:
    found(bench, "low_stock", NIGHT)
    (work,) = due(bench, NIGHT)
    with outbox.inside(work):
        outbox.put_off(work, NIGHT + timedelta(hours=1), "it is quiet")
    (row,) = bench.owed()
    assert (row.due_at, row.attempts) == (NIGHT + timedelta(hours=1), 0)
    assert row.last_error == "it is quiet"
