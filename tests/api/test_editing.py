"""Nobody's change is overwritten unseen: strong ETags, and If-Match before a change."""

import uuid
from typing import Any

import pytest

from tests.api.client import Answer, Client

Edited = tuple[str, str, Any]


def editable(north: Client) -> dict[str, Edited]:
    """What can be edited: its method, its path and a body that is accepted again and again."""
    material = north.material("Squalane", density="0.81 g/mL")
    lot = north.receive(material, "1 kg", "40.00")
    lines = [{"material": material, "percent": "100"}]
    formula = {"name": "Face oil", "phases": [{"name": "A", "lines": lines}]}
    id = north.post("formulas", formula).made()["id"]
    product = {
        "name": "Face oil 30",
        "formula": id,
        "fill": {"nominal": "30 g"},
        "packaging": [],
    }
    product_id = north.post("products", product).made()["id"]
    return {
        "material": ("PATCH", f"materials/{material}", {"inci_name": "Squalane"}),
        "supplier": ("PATCH", f"suppliers/{north.supplier()}", {"name": "Oils by the drum"}),
        "lot": ("PATCH", f"lots/{lot}", {"density": {"value": "0.815 g/mL"}}),
        "product": ("PUT", f"products/{product_id}", product),
        "formula": ("POST", f"formulas/{id}/versions", formula),
    }


@pytest.fixture(scope="module")
def edited(north: Client) -> dict[str, Edited]:
    return editable(north)


@pytest.mark.parametrize("kind", ["material", "supplier", "lot", "product", "formula"])
def test_a_change_names_what_was_read(north: Client, edited: dict[str, Edited], kind: str) -> None:
    method, path, body = edited[kind]
    read = path.removesuffix("/versions")

    def change(etag: str) -> Any:
        if method == "POST":
            return north.post(path, body, If_Match=etag)
        return north.change(method, path, body, etag)

    before = north.get(read)
    etag = before.headers["ETag"]
    assert etag.startswith('"'), "a strong ETag"
    assert etag.endswith('"')
    change("").refused(428, "precondition_required")
    for wrong in (f'"{uuid.uuid4()}-1"', '"nonsense"', f"W/{etag}", "nonsense"):
        change(wrong).refused(412, "stale")
    assert north.get(read).json == before.json
    changed = change(etag)
    assert changed.status in (200, 201), changed.raw
    assert changed.headers["ETag"] != etag
    assert north.get(read).headers["ETag"] == changed.headers["ETag"]
    change(etag).refused(412, "stale")
    # One of several, and any.
    assert change(f'"other", {changed.headers["ETag"]}').status in (200, 201)
    assert change("*").status in (200, 201)


def test_a_patch_leaves_the_rest(north: Client) -> None:
    facts = {"inci_name": "Mel", "density": {"value": "1.42 g/mL"}, "cas_number": "8028-66-8"}
    body = {"name": "Honey", "measured_by": "mass", **facts}
    made = north.post("materials", body)
    path = f"materials/{made.json['id']}"
    changed = north.change("PATCH", path, {"cas_number": ""}, made.headers["ETag"]).made()
    assert (changed["cas_number"], changed["inci_name"]) == ("", "Mel")
    assert changed["density"]["value"] == "1.42"
    assert changed["version"] == made.json["version"] + 1
    gone = north.change("PATCH", path, {"density": None}, "*").made()
    assert gone["density"] is None
    north.change("PATCH", path, {"id": str(uuid.uuid4())}, "*").refused(422, "unknown_field", "/id")
    north.change("PATCH", path, {"own": True}, "*").refused(422, "unknown_field", "/own")


def test_a_watch_may_be_changed_by_what_was_read(north: Client) -> None:
    material, point = north.material("Shea butter"), {"reorder_point": "5 kg"}
    path = f"watches/{material}"

    def put(etag: str = "") -> Answer:
        return north.change("PUT", path, point, etag)

    for early in ("*", f'"{uuid.uuid4()}-1"'):
        put(early).refused(412, "stale")
    first = put().headers["ETag"]
    assert put().status == 200, "without it whatever is there is changed"
    put(first).refused(412, "stale")
    second = north.get(path).headers["ETag"]
    assert put(second).status == 200
    assert put("*").status == 200
    for stale in (second, '"nonsense"'):
        north.raw("DELETE", path, None, {"If-Match": stale}).refused(412, "stale")
    last = north.get(path).headers["ETag"]
    assert north.raw("DELETE", path, None, {"If-Match": last}).status == 204
    # Another watch over the same material is another thing, though it begins with 1 as well.
    assert put().status == 200
    put(first).refused(412, "stale")
    north.raw("DELETE", path, None, {"If-Match": "*"})


def test_an_id_may_be_written_in_capitals(north: Client, edited: dict[str, Edited]) -> None:
    method, path, body = edited["product"]
    kind, _, id = path.partition("/")
    body = {**body, "formula": body["formula"].upper()}
    etag = north.get(path).headers["ETag"]
    assert north.change(method, f"{kind}/{id.upper()}", body, etag).status == 200
