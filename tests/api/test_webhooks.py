"""Messages to programs: signed, tried again, given up, and what a receiver's answer does."""

import json
import socket
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from ipaddress import ip_network

import pytest
from pytest_django import Settings
from standardwebhooks.webhooks import Webhook

from api import webhooks
from ledger.access import acting_as
from ledger.models import AlertMessage, AlertReceiver, Outbox
from ledger.outbox import Work
from ledger.receivers import (
    Shown,
    add_receiver,
    messages,
    receivers,
    remove_receiver,
    renew_secret,
    send_test,
)
from tests.ledger.bench import Bench, now, open_bench, work_off
from tests.ledger.test_alerts import scenario
from tests.races.receiving import Receiving

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture(autouse=True)
def allowed(settings: Settings) -> None:
    settings.WEBHOOK_NETWORKS = (ip_network("127.0.0.0/8"),)


@pytest.fixture
def receiving() -> Iterator[Receiving]:
    with Receiving() as receiving:
        yield receiving


@pytest.fixture
def bench() -> Bench:
    work_off()
    return open_bench()


def added(bench: Bench, url: str) -> Shown:
    with acting_as(bench.actor):
        return add_receiver(bench.actor, webhook=url)


def sent_tests(bench: Bench, receiver: AlertReceiver, times: int = 1) -> list[AlertMessage]:
    with acting_as(bench.actor):
        return [send_test(bench.actor, receiver.id, now=now()) for _ in range(times)]


def told(bench: Bench) -> list[AlertMessage]:
    with acting_as(bench.actor):
        return list(messages(bench.actor).exclude(receiver=None).order_by("id"))


def owed(bench: Bench) -> list[Outbox]:
    return bench.owed(task="post_alert", done_at=None)


def attempt(bench: Bench) -> None:
    """One attempt at the one message that waits, whenever it is due."""
    (row,) = owed(bench)
    work = Work(row.coop_id, row.maker_id, row.id, row.task, row.subject, row.attempts + 1)
    webhooks.post_alert(work, now())


def test_an_alert_arrives_signed(bench: Bench, receiving: Receiving) -> None:
    secret = added(bench, receiving.url).secret
    material, _ = scenario(bench)
    work_off()
    work_off()
    (one,) = receiving.received
    (message,) = told(bench)
    assert one.id == str(message.id)
    assert (message.state, message.attempts, message.last_code) == ("sent", 1, 200)
    body = Webhook(secret or "").verify(one.body, dict(one.headers.items()))
    assert body["type"] == "alert.opened"
    alert = body["data"]
    assert (alert["kind"], alert["material"]) == ("low_stock", str(material.id))
    assert alert["facts"]["position"] == "18500.000000"
    assert datetime.fromisoformat(body["timestamp"]) == message.of_moment
    assert len(one.body.encode()) < 20_000


def test_for_a_day_both_secrets_sign(bench: Bench, receiving: Receiving) -> None:
    made = added(bench, receiving.url)
    with acting_as(bench.actor):
        renewed = renew_secret(bench.actor, made.receiver.id, now=now())
    sent_tests(bench, made.receiver)
    work_off()
    (one,) = receiving.received
    for secret in (made.secret, renewed.secret):
        Webhook(secret or "").verify(one.body, dict(one.headers.items()))
    assert len(one.headers["webhook-signature"].split()) == 2
    with acting_as(bench.actor):
        past = now() - timedelta(seconds=1)
        AlertReceiver.objects.filter(id=made.receiver.id).update(earlier_until=past)
    sent_tests(bench, made.receiver)
    work_off()
    assert len(receiving.received[-1].headers["webhook-signature"].split()) == 1


def test_what_fails_is_tried_again_with_longer_pauses_and_given_up(
    bench: Bench, receiving: Receiving
) -> None:
    receiving.status = 500
    made = added(bench, receiving.url)
    (message,) = sent_tests(bench, made.receiver)
    seconds = [5, 300, 1800, 7200, 18000, 36000, 50400, 72000, 86400]
    for tried, pause in enumerate(seconds, 1):
        before = datetime.now(UTC)
        attempt(bench)
        (row,) = owed(bench)
        waits = (row.due_at - before).total_seconds()
        assert pause <= waits <= pause * 1.1 + 5, tried
        assert row.attempts == 0, "an answer is no failure of ours"
        (now_so,) = told(bench)
        assert (now_so.state, now_so.attempts, now_so.last_code) == ("waiting", tried, 500)
    attempt(bench)
    assert owed(bench) == []
    (now_so,) = told(bench)
    assert (now_so.state, now_so.attempts) == ("failed", 10)
    assert now_so.note == "the receiver answered 500"
    assert receiving.ids() == [str(message.id)] * 10
    assert len({one.body for one in receiving.received}) == 1
    assert len({one.headers["webhook-timestamp"] for one in receiving.received}) >= 1


def test_a_redirect_is_a_failure(bench: Bench, receiving: Receiving) -> None:
    receiving.status = 302
    sent_tests(bench, added(bench, receiving.url).receiver)
    attempt(bench)
    assert [(row.state, row.last_code) for row in told(bench)] == [("waiting", 302)]
    assert [one.path for one in receiving.received] == ["/alerts"]


def test_whoever_is_gone_hears_no_more(bench: Bench, receiving: Receiving) -> None:
    receiving.answers = [410]
    made = added(bench, receiving.url)
    sent_tests(bench, made.receiver, times=2)
    work_off()
    assert len(receiving.received) == 1
    first, second = told(bench)
    assert (first.state, first.last_code) == ("failed", 410)
    assert (second.state, second.note) == ("dropped", "the receiver is gone")
    with acting_as(bench.actor):
        (kept,) = receivers(bench.actor)
    assert kept.disabled_at is not None
    scenario(bench)
    work_off()
    assert len(told(bench)) == 2, "and of what comes later it is not even written to"


def test_whoever_does_not_answer_is_left_alone_for_a_while(bench: Bench) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    made = added(bench, f"http://127.0.0.1:{port}/")
    sent_tests(bench, made.receiver, times=3)
    work_off()
    first, *others = told(bench)
    assert (first.attempts, first.note) == (1, "no answer: ConnectionRefusedError")
    assert [row.attempts for row in others] == [0, 0]
    rests = [row.due_at for row in owed(bench) if row.subject != first.id]
    assert all(row > now() + timedelta(seconds=50) for row in rests)
    assert len(rests) == 2


def test_a_receiver_that_was_removed_is_sent_nothing(bench: Bench, receiving: Receiving) -> None:
    made = added(bench, receiving.url)
    sent_tests(bench, made.receiver)
    with acting_as(bench.actor):
        remove_receiver(bench.actor, made.receiver.id, now=now())
    work_off()
    assert receiving.received == []
    assert [row.state for row in told(bench)] == ["dropped"]


def test_an_address_that_came_to_lead_inside_is_not_reached(
    bench: Bench, receiving: Receiving, settings: Settings
) -> None:
    sent_tests(bench, added(bench, receiving.url).receiver)
    settings.WEBHOOK_NETWORKS = ()
    work_off()
    assert receiving.received == []
    (message,) = told(bench)
    assert message.state == "waiting"
    assert message.note.startswith("no answer: ")


def test_the_largest_body_is_small_enough(bench: Bench) -> None:
    """The batch with the longest names that lacks most of all."""
    from formulas.short_batches import MOST_NAMED
    from ledger.announcing import _body, as_json
    from ledger.models import Alert

    short = [
        {
            "material": "0198a7b0-0000-7000-8000-00000000ffff",
            "name": "🌹" * 200,
            "counted": False,
            "quantity": "999999999999.999999",
            "order_by": "2026-07-01",
        }
        for _ in range(MOST_NAMED)
    ]
    facts = {"code": "🌹" * 20, "planned_for": "2026-07-01", "short": short, "more": 900}
    alert = Alert(kind="batch_short", subject=bench.maker.id, facts=facts, opened_at=now())
    body = _body("alert.opened", now(), as_json(alert))
    assert len(body.encode()) < 20_000
    assert len(json.loads(body)["data"]["facts"]["short"]) == MOST_NAMED
