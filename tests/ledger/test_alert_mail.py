"""What the owner is told when a material runs low, and when nobody is told."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from ledger import alerts
from ledger.access import acting_as
from ledger.models import AlertMessage
from tests.ledger.bench import now, open_bench, work_off
from tests.ledger.test_alerts import mails_to, opened, scenario, watch

pytestmark = pytest.mark.usefixtures("database")


def test_the_mail_says_what_where_and_how_much() -> None:
    bench = open_bench(time_zone="America/New_York")
    material = bench.material("Sodium\nChloride")
    bench.lot(material, "750")
    watch(bench, material, "2 lb")
    work_off()
    (alert,) = opened(bench)
    (message,) = mails_to(bench)
    assert message.subject == "Sodium Chloride is low: 750 g to count on, reorder at 907.18 g"
    with acting_as(bench.actor):
        (kept,) = AlertMessage.objects.filter(alert=alert)
    assert message.extra_headers["Message-ID"] == f"<{kept.id}@stillroom>"
    assert message.message()["Message-ID"] == f"<{kept.id}@stillroom>"
    local = alert.opened_at.astimezone(ZoneInfo("America/New_York"))
    for line in (
        "Sodium Chloride is running low.",
        "Runs out:       not known; none was used in the last ninety days, and no batch"
        " needs the rest",
        "This is of North Bench.",
        "Position:       750 g",
        "Reorder point:  907.18 g",
        f"Noticed:        {local:%-d %b %Y, %H:%M} (America/New_York)",
    ):
        assert line in str(message.body).splitlines()


def test_without_an_address_the_alert_stands_and_the_mail_is_let_be() -> None:
    bench = open_bench(email="")
    scenario(bench)
    work_off()
    assert len(opened(bench, open=True)) == 1
    (row,) = bench.owed(task="mail_alert")
    assert row.done_at is not None
    assert row.last_error == "no owner has an e-mail address"


def test_an_alert_that_closed_meanwhile_is_not_mailed() -> None:
    bench = open_bench()
    material, _ = scenario(bench)
    with acting_as(bench.actor):
        alert = alerts.look_at(bench.coop.id, bench.maker.id, material.id, now=now())
        assert alert is not None
        alerts.drop_watch(bench.actor, material=material.id, now=now())
    work_off()
    assert mails_to(bench) == []
    (row,) = bench.owed(task="mail_alert")
    assert row.last_error == "closed before it was mailed"


def test_a_mail_server_that_refuses_is_asked_again_later(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = open_bench()
    scenario(bench)
    with monkeypatch.context() as patch:
        patch.setattr("django.core.mail.backends.locmem.EmailBackend.send_messages", _refuse)
        work_off()
    (row,) = bench.owed(task="mail_alert")
    assert row.done_at is None
    assert row.attempts == 1
    assert "mailbox is full" in row.last_error
    assert row.due_at > now() + timedelta(seconds=20)
    assert mails_to(bench) == []


def _refuse(backend: object, messages: object) -> int:
    raise OSError("the mailbox is full")
