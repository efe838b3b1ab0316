"""What is told by mail: chosen, kept to hours, and where it goes."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from ledger import alert_answers, reviewing
from ledger.access import acting_as
from ledger.alert_settings import choices_of
from ledger.alerts import set_watch
from ledger.models import Alert, AlertReceiver
from ledger.quantities import parse_quantity
from tests.factories import Workshop, open_workshop
from tests.ledger.bench import work_off
from tests.pages.browsing import done, refused, shown, signed_in, typed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_what_is_chosen_is_kept(shop: Workshop) -> None:
    client = signed_in(shop)
    typed = {**typed_in(client, "/alerts", "version"), "do": "choose"}
    assert (typed["told_expiring"], typed["digest_hour"]) == ("digest", "8")
    assert typed["expiring_days"] == "30"
    assert "another end" in refused(client, "/alerts", **{**typed, "quiet_from": "21:00"})
    assert "not a time zone" in refused(client, "/alerts", **{**typed, "time_zone": "Harbour"})
    change = {"told_low_stock": "never", "quiet_from": "21:00", "quiet_until": "07:00"}
    done(client, "/alerts", **{**typed, **change, "use_told": "counted", "digest_hour": "6"})
    with acting_as(shop.actor):
        kept = choices_of(shop.actor.maker)
    assert (kept.telling("low_stock"), kept.digest_hour, kept.use_told) == ("never", 6, "counted")
    assert f"{kept.quiet_from:%H:%M}" == "21:00"
    # Whoever saw what was before does not undo it.
    done(client, "/alerts", **{**typed_in(client, "/alerts", "version"), "do": "choose"})
    refused(client, "/alerts", **{**typed, "version": str(kept.version)})


def test_mails_go_where_they_are_sent(shop: Workshop) -> None:
    client = signed_in(shop)
    assert "To the owners of the maker" in shown(client.get("/alerts"))
    assert "not a mail address" in refused(client, "/alerts", do="add", mail="nowhere")
    assert "desk@example.org" in done(client, "/alerts", do="add", mail="desk@example.org")
    assert refused(client, "/alerts", do="add", mail="desk@example.org")
    with acting_as(shop.actor):
        one = str(AlertReceiver.objects.get(removed_at=None).id)
    assert "The latest" in done(client, "/alerts", do="try", of=one)
    assert "To the owners of the maker" in done(client, "/alerts", do="remove", of=one)


def test_the_latest_say_what_was_told_and_to_whom(database: Any, redis_server: Any) -> None:
    """With no address of its own the maker's owners are written to; later the desk is."""
    shop, now = open_workshop("Quay Bench"), datetime.now(UTC)
    client, salt = signed_in(shop), shop.material("Sea salt")
    shop.does(set_watch, material=salt.id, reorder_point=parse_quantity("2 kg"))
    work_off()
    page = shown(client.get("/alerts")).replace("\xa0", " ")
    assert "Sea salt is low: 0 g to count on, reorder at 2 kg to the owners" in page
    assert f'href="/materials/{salt.id}"' in client.get("/alerts").content.decode()
    done(client, "/alerts", do="add", mail="desk@example.org")
    lot = shop.receive(salt, "5 kg", "5.00", expires_on=now.date() + timedelta(days=9))
    shop.does(lambda actor: reviewing.review(actor.coop_id, actor.maker, now=now))
    with acting_as(shop.actor):
        one = str(AlertReceiver.objects.get(removed_at=None).id)
    page = done(client, "/alerts", do="try", of=one)
    assert "a test to desk@example.org" in page
    assert re.search(
        rf"Lot {lot.code} of Sea salt expires on \d+ \w+ 20\d\d"
        " to desk@example.org · with others once a day",
        page,
    )
    assert "an alert stays open" not in page
    with acting_as(shop.actor):
        alert = Alert.objects.get(kind="low_stock", maker_id=shop.actor.maker)
    shop.does(alert_answers.snooze, id=alert.id, until=now + timedelta(days=1), now=now)
    assert "an alert stays open · to desk@example.org" in shown(client.get("/alerts"))
    assert f'href="/lots/{lot.id}"' in client.get("/alerts").content.decode()
