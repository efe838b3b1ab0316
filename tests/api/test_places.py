"""Places through HTTP: naming them, putting lots into them, and what is asked by place."""

import uuid
from collections.abc import Iterator
from typing import Any

import pytest

from tests.api.client import Client, Coop

RELEASE = {"basis": "certificate seen"}


@pytest.fixture
def north(coop: Coop) -> Iterator[Client]:
    """The maker, whose places have no names any more once a test is done."""
    maker = coop["North Bench"]
    yield maker
    for number, row in enumerate(maker.listed("places")):
        renamed = {"name": f"{uuid.uuid4()} {number}"}
        maker.change("PATCH", f"places/{row['id']}", renamed, "*").made()


def place(maker: Client, name: str, keeps: str = "") -> str:
    return str(maker.post("places", {"name": name, "keeps": keeps}).made()["id"])


def oil(maker: Client) -> str:
    return maker.receive(maker.material("Almond oil"), "1 kg", "9.00")


def test_a_lot_says_where_it_lies_and_who_put_it_there(north: Client) -> None:
    lot, cold = oil(north), place(north, "Cold shelf")
    put = north.post(f"lots/{lot}/placings", {"place": cold}).made()
    assert (put["lot"], put["place"], put["place_name"]) == (lot, cold, "Cold shelf")
    shown = north.get(f"lots/{lot}").made()
    assert (shown["place"], shown["place_name"], shown["out_of_place"]) == (
        cold,
        "Cold shelf",
        False,
    )
    assert [row["id"] for row in north.listed("lots", place=cold)] == [lot]
    north.post(f"lots/{lot}/placings", {"place": None}).made()
    assert north.get(f"lots/{lot}").made()["place"] is None
    rows = north.listed(f"lots/{lot}/placings")
    assert [row["place"] for row in rows] == [None, cold]
    assert rows[0]["person"] == put["person"]


def test_what_is_kept_apart_is_refused_with_a_way_out(north: Client) -> None:
    lot, waits = oil(north), place(north, "Waiting", "quarantine")
    refused = north.post(f"lots/{lot}/placings", {"place": waits})
    error = refused.refused(409, "place_keeps_other", "/place")
    assert "put it into another place, or decide about the lot first" in error["detail"]
    north.post(f"lots/{lot}/decisions", {"decision": "quarantine", "basis": "wet"}).made()
    north.post(f"lots/{lot}/placings", {"place": waits}).made()
    north.post(f"lots/{lot}/decisions", {"decision": "release", "basis": "dry again"}).made()
    assert north.get(f"lots/{lot}").made()["out_of_place"] is True


def test_a_place_is_changed_by_whoever_has_read_it(north: Client) -> None:
    cold = place(north, "Cold shelf")
    path = f"places/{cold}"
    north.change("PATCH", path, {"name": "Cool"}).refused(428, "precondition_required")
    read = north.get(path)
    tag = read.headers["ETag"]
    changed = north.change("PATCH", path, {"name": "Cool room", "keeps": "released"}, tag)
    assert (changed.made()["name"], changed.made()["keeps"]) == ("Cool room", "released")
    north.change("PATCH", path, {"name": "Cellar"}, tag).refused(412, "stale")
    north.post("places", {"name": "COOL ROOM"}).refused(409, "place_known", "/name")


def test_a_place_is_retired_when_nothing_lies_there(north: Client) -> None:
    lot, cold = oil(north), place(north, "Cold shelf")
    north.post(f"lots/{lot}/placings", {"place": cold}).made()
    retire: dict[str, Any] = {"retired": True}
    north.change("PATCH", f"places/{cold}", retire, "*").refused(409, "place_not_empty", "/retired")
    north.post(f"lots/{lot}/placings", {"place": None}).made()
    assert north.change("PATCH", f"places/{cold}", retire, "*").made()["retired"] is True
    assert cold in [row["id"] for row in north.listed("places", retired="true")]
    assert cold not in [row["id"] for row in north.listed("places", retired="false")]
    put = north.post(f"lots/{lot}/placings", {"place": cold})
    put.refused(409, "place_retired", "/place")


def test_what_comes_or_was_there_is_put_at_once(north: Client) -> None:
    material, cold = north.material("Almond oil"), place(north, "Cold shelf")
    waits = place(north, "Waiting", "quarantine")
    line = {"material": material, "quantity": "1 kg", "price": "9.00", "supplier_lot": "A"}
    lines = [{**line, "place": cold}, line, {**line, "place": waits}]
    body = {"supplier": north.supplier(), "lines": lines}
    released = north.post("receipts", {**body, "release": RELEASE})
    released.refused(409, "place_keeps_other", "/lines/2/place")
    came = north.post("receipts", body).made()["lines"]
    there = [north.get(f"lots/{one['lot']['id']}").made()["place"] for one in came]
    assert there == [cold, None, waits]
    opening = {"material": material, "quantity": "1 kg", "value": "9.00", "supplier_lot": "B"}
    opened = north.post("opening-stock", {**opening, "place": cold}).made()
    assert north.get(f"lots/{opened['lines'][0]['lot']}").made()["place"] == cold
    north.post("opening-stock", {**opening, "place": waits, "release": RELEASE}).refused(
        409, "place_keeps_other", "/place"
    )


def test_one_place_is_counted_alone(north: Client) -> None:
    here, there, cold = oil(north), oil(north), place(north, "Cold shelf")
    north.post(f"lots/{here}/placings", {"place": cold}).made()
    sheet = north.post("counts", {"lies_in": cold}).made()
    assert (sheet["place"], [line["lot"] for line in sheet["lines"]]) == ("Cold shelf", [here])
    both = north.post("counts", {"lies_in": cold, "lots": [there]})
    both.refused(409, "conflict")
    other = north.post("counts", {"lies_in": place(north, "Attic"), "place": "top floor"})
    other.refused(422, "invalid")
