"""Who may do what, through HTTP: every role tries every operation that the table of roles rules."""

import json
from typing import Any

import pytest

from api import schema
from ledger.roles import MAY, Verb
from tests.api.bodies import body_of, send
from tests.api.client import Client, Coop
from tests.api.people import member
from tests.api.population import populate

DOCUMENT: dict[str, Any] = json.loads(schema.document())
# What each operation asks of a role, written down apart from the code that asks it.
ASKS = {
    "POST /materials": Verb.EDIT_CATALOGUE,
    "POST /suppliers/{id}/terms": Verb.OFFER,
    "POST /offers": Verb.OFFER,
    "POST /offers/{id}/prices": Verb.OFFER,
    "POST /offers/{id}/end": Verb.OFFER,
    "POST /orders": Verb.ORDER,
    "POST /orders/{id}/corrections": Verb.ORDER,
    "POST /orders/{id}/endings": Verb.ORDER,
    "POST /orders/{id}/sendings": Verb.ORDER,
    "POST /price-lists": Verb.OFFER,
    "POST /price-lists/check": Verb.OFFER,
    "POST /order-plans": Verb.SEE_OFFERS,
    "POST /materials/{id}/order-sizes": Verb.SEE_OFFERS,
    "POST /order-rounds": Verb.RUN_ROUNDS,
    "POST /order-rounds/{id}/buyer-answers": Verb.ORDER,
    "POST /order-rounds/{id}/buyers": Verb.RUN_ROUNDS,
    "POST /order-rounds/{id}/pledges": Verb.PLEDGE,
    "POST /order-rounds/{id}/orders": Verb.ORDER,
    "POST /order-rounds/{id}/pledge-withdrawals": Verb.PLEDGE,
    "POST /order-rounds/{id}/hand-out": Verb.TRANSFER,
    "POST /order-rounds/{id}/late-bills": Verb.BILL,
    "POST /receipts": Verb.RECEIVE,
    "POST /receipts/{id}/charges": Verb.BILL,
    "POST /lots/{id}/decisions": Verb.DECIDE,
    "POST /lots/{id}/documents": Verb.RECEIVE,
    "POST /lots/{id}/placings": Verb.PLACE,
    "POST /places": Verb.PLACE,
    "PATCH /places/{id}": Verb.PLACE,
    "POST /materials/{id}/source-tests": Verb.DECIDE,
    "POST /lots/{id}/retests": Verb.DECIDE,
    "POST /lots/{id}/openings": Verb.MAKE,
    "POST /lots/{id}/emptyings": Verb.MAKE,
    "POST /lots/{id}/test-results": Verb.DECIDE,
    "POST /materials/{id}/specifications": Verb.DECIDE,
    "POST /formulas": Verb.FORMULATE,
    "POST /formulas/{id}/versions": Verb.FORMULATE,
    "POST /formulas/{id}/standard-costs": Verb.SET_STANDARD_COST,
    "POST /products/{id}/standard-costs": Verb.SET_STANDARD_COST,
    "POST /products": Verb.FORMULATE,
    "POST /products/{id}/price": Verb.SEE_COSTS,
    "POST /products/{id}/ladder": Verb.SEE_COSTS,
    "POST /what-if": Verb.SEE_COSTS,
    "POST /batches": Verb.MAKE,
    "POST /batches/{id}/weighings": Verb.MAKE,
    "POST /batches/{id}/checks": Verb.MAKE,
    "POST /batches/{id}/second-looks": Verb.MAKE,
    "POST /batches/{id}/enough": Verb.MAKE,
    "POST /batches/{id}/finish": Verb.MAKE,
    "POST /issues": Verb.ISSUE,
    "POST /sales": Verb.ISSUE,
    "POST /entries/{id}/reversal": Verb.REVERSE,
    "POST /transfers": Verb.TRANSFER,
    "POST /lots/{id}/decantings": Verb.RECEIVE,
    "POST /deposits": Verb.BILL,
    "POST /payments": Verb.SETTLE,
    "POST /closings": Verb.CLOSE,
    "POST /movements/{id}/disputes": Verb.SETTLE,
    "POST /clearings": Verb.CLEAR,
    "PUT /co-op-store": Verb.RUN_ROUNDS,
    "POST /transfers/{id}/returns": Verb.TRANSFER,
    "POST /shares": Verb.TRANSFER,
    "POST /shares/{id}/claims": Verb.TRANSFER,
    "PUT /watches/{material}": Verb.WATCH,
    "POST /alerts/{id}/snooze": Verb.WATCH,
    "PUT /alert-settings": Verb.SET_ALERTS,
    "POST /alert-receivers": Verb.SET_ALERTS,
    "POST /complaints": Verb.HEAR,
    "POST /complaints/{id}/facts": Verb.HEAR,
    "POST /recalls": Verb.DECIDE,
    "POST /recalls/{id}/contacts": Verb.HEAR,
    "POST /recalls/{id}/closure": Verb.DECIDE,
    "POST /recall-notices/{id}/answer": Verb.DECIDE,
    "POST /counts": Verb.COUNT,
    "POST /counts/{id}/readings": Verb.COUNT,
    "POST /counts/{id}/close": Verb.COUNT,
}
READS = "alerts batches complaints counts due-counts entries fills formulas lots orders products"
READS += " places recalls recall-notices stock watches"
NOWHERE = "0198a7b0-0000-7000-8000-00000000ffff"


@pytest.fixture(scope="module")
def people(coop: Coop) -> dict[str, Client]:
    """One person of each role."""
    return {
        role: member(coop, None if role == "coordinator" else "North Bench", role) for role in MAY
    }


def example_of(operation: str) -> Any:
    """The example of the document, or of a form, which can have none, the least that is one."""
    method, path = operation.split()
    described = DOCUMENT["paths"][f"/api/v1{path}"][method.lower()]
    content = described["requestBody"]["content"]
    if "application/json" not in content:
        return body_of(described, {})
    (example,) = content["application/json"]["examples"].values()
    return example["value"]


@pytest.mark.parametrize("role", list(MAY))
@pytest.mark.parametrize("operation", list(ASKS))
def test_a_role_may_what_the_table_says(
    people: dict[str, Client], operation: str, role: str
) -> None:
    """Sent are the document's own examples, whose ids are nowhere: who may is told that."""
    method, path = operation.split()
    path = path.strip("/").replace("{id}", NOWHERE).replace("{material}", NOWHERE)
    body = example_of(operation)
    answer = send(people[role], method, path, body, If_Match="*")
    if ASKS[operation] in MAY[role]:
        # A conflict, where the one before has done it already.
        assert answer.status in (200, 201, 404, 409, 422), answer.raw
    else:
        error = answer.refused(403, "forbidden")
        assert role in error["detail"] or "owner" in error["detail"]


@pytest.mark.parametrize("role", list(MAY))
def test_who_belongs_to_the_maker_reads_and_nobody_else(
    people: dict[str, Client], role: str
) -> None:
    for path in READS.split():
        answer = people[role].get(path)
        if Verb.READ in MAY[role]:
            assert answer.status == 200, (path, answer.raw)
        else:
            answer.refused(403, "forbidden")
    seen = people[role].get("receipts")
    assert seen.status == (200 if Verb.SEE_COSTS in MAY[role] else 403), "prices stand in them"
    seen = people[role].get("offers")
    assert seen.status == (200 if Verb.SEE_OFFERS in MAY[role] else 403)
    for path in ("materials", "suppliers"):
        assert people[role].get(path).status == 200


COSTS = {"value", "cost", "total", "landed_cost", "unit_cost", "goods", "per_kg", "per_unit"}
COSTS |= {
    "annual_value",
    "cost_difference",
    "hourly_rate",
    "per_batch",
    "percent_of_materials",
    "cost_per_kg",
}


def costs_in(answer: Any) -> list[Any]:
    """The costs that an answer tells, at any depth."""
    if isinstance(answer, list):
        return [cost for inner in answer for cost in costs_in(inner)]
    if not isinstance(answer, dict):
        return []
    told = [
        (name, value)
        for name, value in answer.items()
        if name in COSTS and value is not None and not isinstance(value, list | dict)
    ]
    return told + costs_in(list(answer.values()))


def test_who_may_not_see_costs_is_told_none(people: dict[str, Client], north: Client) -> None:
    """All that there is to read about what somebody else has made is read by the bench."""
    made = populate(north, "Linnet").ids
    north.material("Aqua", stocked=False, cost_per_kg="0.02")
    pages = ["stock", "lots", "entries", "batches", "products", "materials", "fills", "due-counts"]
    pages += ["orders", f"products/{made['product'][0]}", f"fills/{made['fill'][0]}"]
    pages += [f"lots/{made['lot'][0]}", f"lots/{made['lot'][2]}", f"batches/{made['batch'][1]}"]
    pages += [f"lots/{made['lot'][3]}/trace?direction=back"]
    pages += [f"entries/{id}" for id in made["entry"]]
    for page in pages:
        # A density has a value too, but no price.
        seen = people["bench"].get(page).made()
        assert costs_in(without(seen, "density")) == [], page
        assert people["owner"].get(page).status == 200
    for page in ("stock", "materials", "products", "fills"):
        assert costs_in(without(people["owner"].get(page).made(), "density")), page
    refused = people["bench"].get(f"receipts/{made['receipt'][0]}")
    refused.refused(403, "forbidden")
    working = people["bench"].get(f"batches/{made['batch'][1]}", explain=1)
    assert working.status == 403 or costs_in(working.json) == []
    taken = {"lines": [{"lot": made["lot"][0], "quantity": "1 g"}], "purpose": "gift"}
    given = people["bench"].post("issues", {**taken, "reason": "open day"}).made()
    assert costs_in(given) == []
    read = people["bench"].get(f"products/{made['product'][0]}")
    sent = {name: read.json[name] for name in ("name", "formula", "fill", "labour", "overhead")}
    path = f"products/{made['product'][0]}"
    put = people["bench"].change("PUT", path, {**sent, "packaging": []}, read.headers["ETag"])
    assert costs_in(put.made()) == []
    assert people["owner"].get(path).json["labour"]["hourly_rate"] == "18.180000", "as it was"


def without(answer: Any, left_out: str) -> Any:
    if isinstance(answer, list):
        return [without(inner, left_out) for inner in answer]
    if isinstance(answer, dict):
        return {
            name: without(inner, left_out) for name, inner in answer.items() if name != left_out
        }
    return answer


def test_the_table_leaves_nothing_out() -> None:
    """Every operation that writes for a maker is tried above, or is like one that is."""
    alike = {
        "opening-stock": Verb.RECEIVE,
        "fills": Verb.MAKE,
        "weigh-backs": Verb.MAKE,
        "cancellation": Verb.MAKE,
        "customer-returns": Verb.ISSUE,
        "supplier-returns": Verb.ISSUE,
        "cost-formulas": Verb.SET_COST_FORMULA,
        "suppliers": Verb.EDIT_CATALOGUE,
        # No JSON, but a file: tried where it is looked into.
        "copy": Verb.COPY,
        "offers": Verb.SEE_OFFERS,
        # A part of PATCH /materials/{id}, tried with the verb itself.
        "density": Verb.CHANGE_DENSITY,
    }
    tried = set(ASKS.values()) | set(alike.values())
    assert tried | {Verb.READ} == set(Verb)
