"""Lists page by page: complete, stable while more comes in, and bound to what was asked."""

import re
import time
import uuid
from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.running import Running

LISTS = (
    "alerts batches entries fills formulas lots materials products receipts stock suppliers tokens"
    " watches"
)


@pytest.fixture(scope="module")
def own(server: Running) -> Coop:
    """A co-op in which the lists are as long as is said here."""
    return open_coop(server, "North Bench", "Mill Bench")


@pytest.fixture(scope="module")
def bench(own: Coop) -> Client:
    """A maker with seven materials, a lot and a watch of each, and 20 suppliers."""
    maker = own["North Bench"]
    for name in "Anise Balm Clove Dill Elder Fennel Ginger".split():  # noqa: SIM905
        material = maker.material(f"{name} oil")
        maker.receive(material, "1 kg", "10.00")
        maker.change("PUT", f"watches/{material}", {"reorder_point": "5 kg"}).made()
    # The worker opens their alerts in its own time.
    end = time.monotonic() + 90
    while len(maker.listed("alerts")) < 7 and time.monotonic() < end:
        time.sleep(0.1)
    return maker


def pages(maker: Client, path: str, **query: Any) -> list[list[str]]:
    """The ids of each page."""
    found, more = [], dict(query)
    while True:
        page = maker.get(path, **more).made()
        found.append([row.get("id", row.get("material")) for row in page["results"]])
        if not page["next"]:
            return found
        more["cursor"] = page["next"]


@pytest.mark.parametrize("path", LISTS.split())
def test_the_pages_make_the_list(bench: Client, path: str) -> None:
    (whole,) = pages(bench, path, limit=200)
    parts = pages(bench, path, limit=2)
    assert [id for page in parts for id in page] == whole
    assert len(set(whole)) == len(whole)
    assert all(len(page) == 2 for page in parts[:-1])


def test_pages_are_stable_while_more_comes_in(bench: Client) -> None:
    first = bench.get("suppliers", limit=3).made()
    before = [row["id"] for row in bench.listed("suppliers")]
    fresh = [bench.supplier() for _ in range(3)]
    second = bench.get("suppliers", limit=3, cursor=first["next"]).made()
    assert [row["id"] for row in second["results"]] == before[3:6]
    assert [row["id"] for row in bench.listed("suppliers")][:3] == fresh[::-1], "newest first"


def test_the_next_page_is_linked(bench: Client) -> None:
    answer = bench.get("lots", limit=3, status="released")
    link = re.fullmatch(r'<(/api/v1/lots\?[^>]+)>; rel="next"', answer.headers["Link"])
    assert link is not None
    by_link = bench.raw("GET", link[1]).made()
    by_cursor = bench.get("lots", limit=3, status="released", cursor=answer.json["next"]).made()
    assert by_link == by_cursor
    last = bench.get("lots", limit=200)
    assert "Link" not in last.headers
    assert last.json["next"] is None


def test_a_cursor_belongs_to_its_list(own: Coop, bench: Client) -> None:
    cursor = bench.get("lots", limit=2, status="released").made()["next"]
    for path, query in (
        ("lots", {}),
        ("lots", {"status": "hold"}),
        ("lots", {"status": "released", "in_stock": "true"}),
        ("suppliers", {}),
        ("stock", {}),
    ):
        bench.get(path, cursor=cursor, **query).refused(422, "cursor_wrong", "/cursor")
    again = bench.get("lots", limit=5, status="released", cursor=cursor)
    assert again.status == 200, "how many are wanted may change"
    # Another maker learns nothing from it.
    mill = own["Mill Bench"].get("lots", status="released", cursor=cursor)
    assert mill.status == 422 or mill.json["results"] == []


@pytest.mark.parametrize("path", LISTS.split())
def test_a_cursor_that_was_tampered_with(bench: Client, path: str) -> None:
    cursor = bench.get(path, limit=1).made()["next"]
    wrong = ["x", ":::", "a:b:c", str(uuid.uuid4()), "é"]
    if cursor:
        wrong += [cursor[:-1], cursor[1:], cursor.swapcase(), cursor + "x"]
    for text in wrong:
        bench.get(path, cursor=text).refused(422, "cursor_wrong", "/cursor")
    bench.get(path, cursor="x" * 501).refused(422, "max_length", "/cursor")


def test_lists_can_be_narrowed(bench: Client) -> None:
    (anise,) = bench.listed("materials", name="ANISE")
    (lot,) = bench.listed("lots", material=anise["id"])
    assert lot["material_name"] == "Anise oil"
    assert bench.listed("lots", code=lot["code"]) == [lot]
    assert bench.listed("lots", status="hold") == []
    assert len(bench.listed("lots", in_stock="true")) == 7
    assert bench.listed("lots", in_stock="false") == []
    assert len(bench.listed("entries", kind="receipt")) == 7
    assert len(bench.listed("entries", lot=lot["id"])) == 1
    assert bench.listed("entries", happened_from="2025-05-02") == []
    assert bench.listed("materials", name="%") == [], "a wildcard is a letter like others"
