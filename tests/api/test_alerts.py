"""Alerts over HTTP: read, acknowledged, put off; choices, and who hears of them."""

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.api.people import sql
from tests.running import Running


@pytest.fixture(scope="module")
def own(server: Running) -> Coop:
    """A co-op of its own, since its makers choose otherwise than others."""
    return open_coop(server, "Reed Bench", "Heron Bench")


@pytest.fixture(scope="module")
def reed(own: Coop) -> Client:
    return own["Reed Bench"]


@pytest.fixture(scope="module")
def heron(own: Coop) -> Client:
    return own["Heron Bench"]


@pytest.fixture
def low(reed: Client) -> dict[str, Any]:
    """The alert of a material at 5 kg with a reorder point of 6 kg."""
    oil = reed.material(f"Olive oil {uuid.uuid4()}")
    reed.receive(oil, "5 kg", "40.00")
    reed.change("PUT", f"watches/{oil}", {"reorder_point": "6 kg", "lead_days": 9}).made()
    (alert,) = waited(reed, "alerts?state=open&kind=low_stock", oil)
    return dict(reed.get(f"alerts/{alert['id']}").made())


def in_days(days: int) -> str:
    return (datetime.now(UTC) + timedelta(days=days)).isoformat()


def test_an_alert_tells_when_it_runs_out(low: dict[str, Any]) -> None:
    assert (low["kind"], low["position"], low["reorder_point"]) == (
        "low_stock",
        "5000.000000",
        "6000.000000",
    )
    assert low["runs_out"] == {"available": "5000.000000", "daily_use": "0.000000", "on": None}
    assert (low["batch"], low["lot"], low["price"]) == (None, None, None)


def test_it_is_acknowledged_and_put_off(reed: Client, low: dict[str, Any]) -> None:
    path = f"alerts/{low['id']}"
    assert low["acknowledged_at"] is None
    seen = reed.post(f"{path}/acknowledgement", {}).made()
    assert seen["acknowledged_at"]
    assert seen["acknowledged_by"]
    again = reed.post(f"{path}/acknowledgement", {}).made()
    assert again["acknowledged_at"] == seen["acknowledged_at"]
    until = in_days(3)
    off = reed.post(f"{path}/snooze", {"until": until}).made()
    assert datetime.fromisoformat(off["snoozed_until"]) == datetime.fromisoformat(until)
    reed.post(f"{path}/snooze", {"until": in_days(-1)}).refused(422, "invalid", "/until")
    assert reed.get(path).made() == off


def test_a_closed_one_is_not(reed: Client, low: dict[str, Any]) -> None:
    reed.change("DELETE", f"watches/{low['material']}", None)
    assert reed.get(f"alerts/{low['id']}").made()["state"] == "closed"
    for act, body in (("acknowledgement", {}), ("snooze", {"until": in_days(1)})):
        reed.post(f"alerts/{low['id']}/{act}", body).refused(409, "alert_closed")


def test_a_neighbour_s_alert_is_not_there(heron: Client, low: dict[str, Any]) -> None:
    heron.get(f"alerts/{low['id']}").refused(404, "not_found")
    heron.post(f"alerts/{low['id']}/acknowledgement", {}).refused(404, "not_found")
    heron.post(f"alerts/{low['id']}/snooze", {"until": in_days(1)}).refused(404, "not_found")


def test_alerts_by_kind(reed: Client, low: dict[str, Any]) -> None:
    ids = {row["id"] for row in reed.listed("alerts", kind="low_stock", state="open")}
    assert low["id"] in ids
    assert reed.listed("alerts", kind="price_jump") == []
    reed.get("alerts?kind=rain").refused(422, "invalid_choice", "/kind")


def test_a_batch_that_is_short_is_told_of_with_the_day_to_order(reed: Client) -> None:
    wax = reed.material(f"Beeswax {uuid.uuid4()}")
    reed.change("PUT", f"watches/{wax}", {"reorder_point": "1 g", "lead_days": 30}).made()
    lines = [{"material": wax, "percent": "100"}]
    phases = [{"name": "A", "lines": lines}]
    formula = reed.post("formulas", {"name": f"Wax {uuid.uuid4()}", "phases": phases}).made()
    wanted = {"formula": formula["id"], "batch": "2 kg", "planned_for": "2031-03-31"}
    batch = reed.post("batches", wanted).made()
    (alert,) = waited(reed, "alerts?kind=batch_short&state=open")
    assert (alert["material"], alert["name"]) == (None, batch["code"])
    assert alert["batch"]["id"] == batch["id"]
    assert alert["batch"]["planned_for"] == "2031-03-31"
    (short,) = alert["batch"]["short"]
    assert (short["material"], short["quantity"], short["order_by"]) == (
        wax,
        "2000.000000",
        "2031-03-01",
    )


def waited(client: Client, path: str, material: str | None = None) -> list[Any]:
    """The rows of a page, or those of a material, once the worker has made them."""
    end = datetime.now(UTC) + timedelta(seconds=30)
    while datetime.now(UTC) < end:
        rows = client.get(path).made()["results"]
        if found := [row for row in rows if material in (None, row.get("material"))]:
            return found
    raise AssertionError(f"nothing at {path}")


def test_choices_are_read_and_set(reed: Client) -> None:
    read = reed.get("alert-settings")
    assert (read.made()["version"], read.json["digest_hour"]) == (0, 8)
    assert read.json["told"]["expiring"] == "digest"
    wanted = {
        "told": {"expiring": "never"},
        "digest_hour": 6,
        "quiet_from": "21:00",
        "quiet_until": "06:30",
        "time_zone": "Europe/Paris",
        "use_told": "counted",
    }
    put = reed.change("PUT", "alert-settings", wanted, read.headers["ETag"])
    set_to = put.made()
    assert set_to["told"]["expiring"] == "never"
    assert set_to["told"]["low_stock"] == "at_once"
    assert (set_to["quiet_from"], set_to["quiet_until"]) == ("21:00", "06:30")
    assert (set_to["expiring_days"], set_to["version"]) == (30, 1)
    assert set_to["price_jump_percent"] == 10
    assert reed.get("alert-settings").made() == set_to
    reed.change("PUT", "alert-settings", {}, read.headers["ETag"]).refused(412, "stale")
    assert reed.change("PUT", "alert-settings", {}).made()["time_zone"] == ""


@pytest.mark.parametrize(
    ("wrong", "status", "code", "pointer"),
    [
        ({"time_zone": "Atlantis"}, 422, "invalid", "/time_zone"),
        ({"quiet_from": "21:00"}, 422, "invalid", "/quiet_until"),
        ({"digest_hour": 24}, 422, "max_value", "/digest_hour"),
        ({"told": {"rain": "digest"}}, 422, "unknown_field", "/told/rain"),
        ({"told": {"expiring": "soon"}}, 422, "invalid_choice", "/told/expiring"),
    ],
)
def test_choices_that_mean_nothing(
    reed: Client, wrong: dict[str, Any], status: int, code: str, pointer: str
) -> None:
    reed.change("PUT", "alert-settings", wrong).refused(status, code, pointer)


def test_a_secret_is_shown_once_and_kept_nowhere(reed: Client, own: Coop) -> None:
    key = str(uuid.uuid4())
    body = {"webhook": f"https://{uuid.uuid4()}.invalid/alerts"}
    made = reed.post("alert-receivers", body, key).made()
    secret = made["secret"]
    assert secret.startswith("whsec_")
    assert len(secret) == len("whsec_") + 44
    again = reed.post("alert-receivers", body, key)
    assert again.headers["Replayed"] == "true"
    assert again.json == {**made, "secret": None}
    path = f"alert-receivers/{made['id']}"
    assert "secret" not in reed.get(path).made()
    assert reed.get(path).json in reed.listed("alert-receivers")
    renewed = reed.post(f"{path}/secrets", {}).made()
    assert renewed["secret"] != secret
    assert renewed["earlier_secret_until"]
    for shown in (secret, renewed["secret"]):
        assert not kept(own.server, shown.removeprefix("whsec_"))
        assert shown.removeprefix("whsec_") not in logs(own.server)
    assert kept(own.server, body["webhook"]), "or the search would find nothing at all"


def kept(server: Running, text: str) -> list[str]:
    """The tables in which a text stands, in any column of any row."""
    tables = sql(server, "select tablename from pg_tables where schemaname = 'public'")
    looked = "select exists (select from {} t where t::text like %s)"
    return [
        name for (name,) in tables if sql(server, looked.format(name), f"%{text}%") == [(True,)]
    ]


def logs(server: Running) -> str:
    return "".join(
        path.read_text(errors="replace")
        for path in (server.data / "log").rglob("*")
        if path.is_file()
    )


def test_receivers_are_added_once_and_removed(reed: Client, heron: Client) -> None:
    mail = {"mail": "stock@example.org"}
    made = reed.post("alert-receivers", mail).made()
    assert (made["channel"], made["secret"]) == ("mail", None)
    reed.post("alert-receivers", mail).refused(409, "receiver_known")
    path = f"alert-receivers/{made['id']}"
    reed.post(f"{path}/secrets", {}).refused(409, "no_secret")
    heron.get(path).refused(404, "not_found")
    heron.post(f"{path}/tests", {}).refused(404, "not_found")
    assert heron.change("DELETE", path, None).status == 404
    sent = reed.post(f"{path}/tests", {}).made()
    assert (sent["event"], sent["receiver"]) == ("test", made["id"])
    rows = waited(reed, f"alert-messages?receiver={made['id']}&state=sent")
    assert [row["id"] for row in rows] == [sent["id"]]
    assert heron.listed("alert-messages", receiver=made["id"]) == []
    assert reed.change("DELETE", path, None).status == 204
    reed.get(path).refused(404, "not_found")
    reed.post("alert-receivers", mail).made()


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({}, "invalid", ""),
        ({"mail": "a@example.org", "webhook": "https://example.org/"}, "invalid", ""),
        ({"mail": "nobody"}, "invalid", "/mail"),
        ({"webhook": "http://example.org/"}, "address_refused", "/webhook"),
        ({"webhook": "https://127.0.0.1/"}, "address_refused", "/webhook"),
        ({"webhook": "https://2130706433/"}, "address_refused", "/webhook"),
        ({"webhook": "https://[::ffff:10.0.0.1]/"}, "address_refused", "/webhook"),
        ({"webhook": "https://localhost/"}, "address_refused", "/webhook"),
    ],
)
def test_addresses_that_nothing_goes_to(
    reed: Client, body: dict[str, str], code: str, pointer: str
) -> None:
    reed.post("alert-receivers", body).refused(422, code, pointer)
