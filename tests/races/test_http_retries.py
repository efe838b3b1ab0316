"""Many clients at once, over HTTP: one key is one act, and one lot is never poured twice."""

import threading
import uuid
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Answer, Client, Coop, open_coop
from tests.running import Running

D = Decimal
CLIENTS = 16


@pytest.fixture(scope="module")
def coop(server: Running) -> Coop:
    return open_coop(server, "North Bench")


@pytest.fixture
def north(coop: Coop) -> Client:
    return coop["North Bench"]


def at_once(north: Client, act: Callable[[Client, int], Answer]) -> list[Answer]:
    """What `CLIENTS` clients are answered who all begin at the same moment."""
    gate = threading.Barrier(CLIENTS)

    def run(number: int) -> Answer:
        client = north.another()
        client.get("suppliers", limit=1)
        gate.wait()
        return act(client, number)

    with ThreadPoolExecutor(CLIENTS) as pool:
        return list(pool.map(run, range(CLIENTS)))


def gift(lot: str, quantity: str) -> dict[str, Any]:
    return {
        "lines": [{"lot": lot, "quantity": quantity}],
        "purpose": "gift",
        "reason": "open day",
    }


def test_one_key_is_one_act(server: Running, north: Client) -> None:
    material = north.material("Glycerin")
    lot = north.receive(material, "100 g", "1.00")
    key, body = str(uuid.uuid4()), gift(lot, "60 g")
    answers = at_once(north, lambda client, _: client.post("issues", body, key))
    told = Counter(answer.status for answer in answers)
    assert set(told) <= {201, 409}
    assert told[201] >= 1
    for answer in answers:
        if answer.status == 409:
            answer.refused(409, "key_in_flight")
            assert int(answer.headers["Retry-After"]) >= 1
    done = [answer for answer in answers if answer.status == 201]
    assert len({answer.raw for answer in done}) == 1, "all are told of the same act"
    assert sum("Replayed" not in answer.headers for answer in done) == 1
    again = north.post("issues", body, key)
    assert (again.raw, again.headers["Replayed"]) == (done[0].raw, "true")
    assert D(north.stock(material)["on_hand"]) == D(40)
    assert len(north.listed("entries", lot=lot, kind="issue")) == 1


def test_one_refusal_is_one_refusal(north: Client) -> None:
    material = north.material("Squalane")
    lot = north.receive(material, "1 g", "1.00")
    key, body = str(uuid.uuid4()), gift(lot, "60 g")
    answers = at_once(north, lambda client, _: client.post("issues", body, key))
    codes = Counter(answer.json["errors"][0]["code"] for answer in answers)
    assert set(codes) <= {"not_enough", "key_in_flight"}
    assert codes["not_enough"] >= 1
    assert north.post("issues", body, key).headers["Replayed"] == "true"


def test_a_lot_is_never_poured_twice(server: Running, north: Client) -> None:
    """16 want 100 g each of 1,050 g: ten get theirs, six are told that 50 g are left."""
    material = north.material("Lanolin")
    lot = north.receive(material, "1050 g", "10.50")
    answers = at_once(north, lambda client, _: client.post("issues", gift(lot, "100 g")))
    won = [answer for answer in answers if answer.status == 201]
    lost = [answer for answer in answers if answer.status != 201]
    assert (len(won), len(lost)) == (10, 6)
    for answer in lost:
        error = answer.refused(409, "not_enough")
        # Whoever lost may have looked before the last winner: never less than is left now.
        assert D(error["left"]) == D(50)
        assert "50" in error["detail"]
    stock = north.stock(material)
    assert (D(stock["on_hand"]), D(stock["value"])) == (D(50), D("0.50"))
    assert sum(D(answer.json["value"]) for answer in won) == D("10.00")
    assert len(north.listed("entries", lot=lot, kind="issue")) == 10


def test_planning_at_once_promises_nothing_twice(server: Running, north: Client) -> None:
    """16 batches of 100 g each are planned of 1,050 g: ten and a half are promised."""
    material = north.material("Coco-Caprylate")
    north.receive(material, "1050 g", "10.50")
    lines = [{"material": material, "percent": "100"}]
    body = {"name": "Oil", "phases": [{"name": "A", "lines": lines}]}
    formula = north.post("formulas", body).made()["id"]
    size = {"formula": formula, "batch": "100 g", "planned_for": "2025-05-06"}
    answers = at_once(north, lambda client, _: client.post("batches", size))
    assert {answer.status for answer in answers} == {201}
    short = [D(answer.json["lines"][0]["short"]) for answer in answers]
    assert sorted(short) == [D(0)] * 10 + [D(50)] + [D(100)] * 5
    assert len({answer.json["code"] for answer in answers}) == CLIENTS, "each has its own code"
    stock = north.stock(material)
    assert (D(stock["reserved"]), D(stock["position"])) == (D(1050), D(-550))


def test_finishing_at_once_finishes_once(server: Running, north: Client) -> None:
    material = north.material("Panthenol")
    lot = north.receive(material, "1 kg", "10.00")
    lines = [{"material": material, "percent": "100"}]
    body = {"name": "Oil", "phases": [{"name": "A", "lines": lines}]}
    formula = north.post("formulas", body).made()["id"]
    size = {"formula": formula, "batch": "100 g", "planned_for": "2025-05-06"}
    batch = north.post("batches", size).made()
    weighing = {
        "line": batch["lines"][0]["id"],
        "lot": lot,
        "quantity": "100 g",
        "happened_at": "2025-05-06T09:00:00Z",
    }
    north.post(f"batches/{batch['id']}/weighings", weighing).made()
    path, done = f"batches/{batch['id']}/finish", {"output": "100 g"}
    answers = at_once(north, lambda client, _: client.post(path, done))
    assert Counter(answer.status for answer in answers) == {201: 1, 409: CLIENTS - 1}
    for answer in answers:
        if answer.status == 409:
            answer.refused(409, "already_finished")
    entry = next(answer.json["entry"] for answer in answers if answer.status == 201)
    undo = {"reason": "a slip"}
    answers = at_once(north, lambda client, _: client.post(f"entries/{entry}/reversal", undo))
    assert Counter(answer.status for answer in answers) == {201: 1, 409: CLIENTS - 1}
    assert server.command("verify_ledger").returncode == 0
