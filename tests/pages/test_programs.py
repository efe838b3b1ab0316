"""Programs that hear of alerts: added, tried, given another secret, and told nothing more."""

import re
import uuid
from typing import Any

import pytest
from django.utils import timezone

from ledger.access import acting_as
from ledger.models import AlertMessage, AlertReceiver
from ledger.receivers import secrets_of
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in

SECRET = re.compile(r'class="secret"[^>]*>([^<]+)<')
ADDRESS = "https://shelf.example.org/alerts"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_a_program_is_told_of_alerts_until_it_is_not(shop: Workshop) -> None:
    client, key = signed_in(shop), uuid.uuid4().hex
    assert "Programs that hear" in shown(client.get("/alerts"))
    add = {"do": "add", "webhook": ADDRESS}
    answer = sent(client, "/alert-receivers", form_key=key, **add)
    (first,) = SECRET.findall(answer.content.decode())
    again = sent(client, "/alert-receivers", form_key=key, **add)
    assert "shown then" in shown(client.get(again["Location"]))
    with acting_as(shop.actor):
        one = AlertReceiver.objects.get()
        assert list(secrets_of(one, timezone.now())) == [first]
    page = f"/alert-receivers/{one.id}"
    assert page in client.get("/alert-receivers").content.decode()
    assert ADDRESS not in shown(client.get("/alerts")), "it is no mail address"
    assert "waits" in done(client, page, do="try")
    with acting_as(shop.actor):
        AlertMessage.objects.update(
            state="failed", attempts=3, last_code=503, note="no answer", ended_at=timezone.now()
        )
    told = shown(client.get(page))
    assert "a test" in told
    assert "3 tries · it answered 503 · no answer" in told
    assert "did not arrive" in told
    (second,) = SECRET.findall(sent(client, page, do="renew").content.decode())
    assert second != first
    with acting_as(shop.actor):
        now = AlertReceiver.objects.get()
        assert list(secrets_of(now, timezone.now())) == [second, first]
    assert "signs as well until" in shown(client.get(page))
    assert "None yet" in done(client, page, do="remove")
    assert client.get(page).status_code == 404


def test_a_refused_address_is_refused_at_its_field(shop: Workshop) -> None:
    client = signed_in(shop)
    for address, why in (
        ("http://example.org/", "Write an address such as"),
        ("https://127.0.0.1/", "not a public one"),
        ("https://shelf.local/", "only within a network"),
    ):
        answer = sent(client, "/alert-receivers", do="add", webhook=address)
        assert answer.status_code == 422
        assert 'aria-invalid="true"' in answer.content.decode()
        assert why in shown(answer)
        assert address in answer.content.decode()
    typed = {"do": "add", "webhook": "https://other.example.org/"}
    assert sent(client, "/alert-receivers", **typed).status_code == 200
    assert "already" in refused(client, "/alert-receivers", **typed)


def test_it_is_for_who_decides_it(shop: Workshop) -> None:
    with acting_as(shop.actor):
        one = AlertReceiver.objects.get(removed_at=None)
    other = signed_in(open_workshop("Mill Bench", coop=shop.coop))
    assert other.get(f"/alert-receivers/{one.id}").status_code == 404
    assert sent(other, f"/alert-receivers/{one.id}", do="try").status_code == 404
    assert str(one.id) not in other.get("/alert-receivers").content.decode()
