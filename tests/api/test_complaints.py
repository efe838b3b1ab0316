"""The log of complaints: linked to the batch, with the clocks shown, and only ever added to."""

from typing import Any

import pytest

from tests.api.client import Client
from tests.api.population import populate

RASH = {"received_on": "2025-06-16", "what_happened": "a rash on both hands"}


@pytest.fixture(scope="module")
def made(north: Client) -> dict[str, list[str]]:
    return populate(north, "Bunting").ids


def log(maker: Client, **facts: Any) -> dict[str, Any]:
    return dict(maker.post("complaints", {**RASH, **facts}).made())


def add(maker: Client, complaint: str, kind: str, on: str, text: str = "told") -> dict[str, Any]:
    body = {"kind": kind, "on": on, "text": text}
    return dict(maker.post(f"complaints/{complaint}/facts", body).made())


def due(complaint: dict[str, Any]) -> dict[str, str]:
    return {clock["name"]: clock["due_on"] for clock in complaint["clocks"]}


def test_it_is_linked_to_its_batch_by_what_stands_on_the_pack(
    north: Client, made: dict[str, list[str]]
) -> None:
    lot, batch = made["lot"][2], made["batch"][1]
    code = north.get(f"lots/{lot}").made()["code"]
    batch_code = north.get(f"batches/{batch}").made()["code"]
    for told in (code, batch_code):
        found = log(north, batch_code=told, product=made["product"][0])
        assert (found["lot"]["id"], found["batch"]["id"]) == (lot, batch)
        assert found["product"]["id"] == made["product"][0]
    filled = log(north, lot=made["lot"][3], customer_reference="stall 4")
    assert (filled["lot"]["id"], filled["batch"]) == (made["lot"][3], None)
    unknown = log(north, batch_code="illegible 8")
    assert (unknown["batch_code"], unknown["lot"], unknown["clocks"]) == ("illegible 8", None, [])
    latest = north.listed("complaints", lot=made["lot"][3])[0]
    assert latest["id"] == filled["id"]
    assert "check your local authority" in found["caution"]


def test_the_clocks_are_shown_as_facts_come_in(north: Client) -> None:
    told = log(north, adverse=True)
    assert due(told) == {"us_records": "2031-06-16", "us_records_small": "2028-06-16"}
    serious = add(north, told["id"], "serious", "2025-06-18", "taken to hospital")
    assert (serious["adverse"], serious["serious"]) == (True, True)
    assert due(serious)["us_report"] == "2025-07-09"
    assert due(serious)["eu_report"] == "2025-07-06"
    add(north, told["id"], "reported_us", "2025-06-20", "form sent")
    news = add(north, told["id"], "medical_information", "2026-06-01", "healed")
    clocks = {clock["name"]: clock for clock in news["clocks"]}
    assert clocks["us_report"]["done_on"] == "2025-06-20"
    assert clocks["us_update"]["due_on"] == "2026-06-23"
    assert clocks["us_report"]["clause"] == "FD&C Act §605(b)(1)"
    assert [fact["kind"] for fact in news["facts"]] == [
        *("serious", "reported_us", "medical_information")
    ]
    assert north.get(f"complaints/{told['id']}").made() == news


def test_it_is_closed_until_something_new_is_told(north: Client) -> None:
    told = log(north)
    assert (told["state"], told["closed_on"]) == ("open", None)
    closed = add(north, told["id"], "closed", "2025-06-17", "the label was read wrongly")
    assert (closed["state"], closed["closed_on"]) == ("closed", "2025-06-17")
    assert told["id"] in [row["id"] for row in north.listed("complaints", state="closed")]
    again = add(north, told["id"], "adverse", "2025-06-19", "it was a rash after all")
    assert (again["state"], again["adverse"], again["serious"]) == ("open", True, False)
    for asked, there in (
        ({"state": "open"}, True),
        ({"state": "closed"}, False),
        ({"adverse": "true"}, True),
        ({"adverse": "false"}, False),
        ({"serious": "true"}, False),
        ({"serious": "false"}, True),
    ):
        ids = [row["id"] for row in north.listed("complaints", **asked)]
        assert (told["id"] in ids) == there, asked


def test_what_cannot_be_is_refused(north: Client) -> None:
    for wrong, pointer in (
        ({"received_on": "2199-01-01"}, "/received_on"),
        ({"serious": True}, "/adverse"),
    ):
        north.post("complaints", {**RASH, **wrong}).refused(422, "invalid", pointer)
    told = log(north)
    for on in ("2025-06-15", "2199-01-01"):
        body = {"kind": "note", "on": on, "text": "called back"}
        north.post(f"complaints/{told['id']}/facts", body).refused(422, "invalid", "/on")
