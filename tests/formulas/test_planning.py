"""A plan over HTTP: what it answers, and how often it asks the database, whatever there is."""

import json
import secrets
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from api.models import Token
from api.signing import digest
from deploy.embedded import Broker
from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.models import Material
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from tests.factories import MORNING, TODAY, D, Workshop

LINES = 40
# With the token, the answer, and the copy of it that is kept for a retry.
MOST_QUERIES = 10
# These begin and end things; the first goes along with the query that follows.
TURNS = ("BEGIN", "SAVEPOINT", "RELEASE SAVEPOINT", "COMMIT")


class Bench:
    """A workshop's owner, signed in."""

    def __init__(self, shop: Workshop) -> None:
        self.shop, self.web, self.token = shop, Client(), secrets.token_urlsafe()
        with acting_as(shop.actor):
            Token.objects.create(
                coop_id=shop.actor.coop_id,
                digest=digest(self.token),
                person_id=shop.actor.person_id,
                expires_at=timezone.now() + timedelta(days=1),
            )

    def headers(self) -> dict[str, str]:
        return {
            "Authorization": f"Bearer {self.token}",
            "Idempotency-Key": str(uuid.uuid4()),
            "Host": "127.0.0.1",
        }

    def plan(self, **body: Any) -> dict[str, Any]:
        """The answer to a plan."""
        sent = json.dumps({"planned_for": str(TODAY), **body})
        answer = self.web.post(
            "/api/v1/batches", sent, content_type="application/json", headers=self.headers()
        )
        assert answer.status_code == 201, answer.content
        return dict(answer.json())

    def get(self, path: str) -> dict[str, Any]:
        answer = self.web.get(f"/api/v1/{path}", headers=self.headers())
        assert answer.status_code == 200, answer.content
        return dict(answer.json())


@pytest.fixture
def bench(shop: Workshop, redis_server: Broker) -> Bench:
    return Bench(shop)


def deliver(shop: Workshop, materials: list[Material], grams: str) -> None:
    """A lot of each material, all in one delivery."""
    supplier = shop.does(add_supplier, name=f"Supplier {uuid.uuid4()}")
    lines = [
        Delivered(
            material=str(material.id),
            supplier_lot=str(uuid.uuid4())[:8],
            quantity=parse_quantity(grams),
            price=D(3),
        )
        for material in materials
    ]
    facts = {"charges": [], "happened_at": MORNING, "release_basis": "seen"}
    shop.does(receive, supplier=supplier.id, lines=lines, **facts)


def asked(bench: Bench, **body: Any) -> tuple[dict[str, Any], int]:
    """The answer to a plan, and how many queries it took."""
    with CaptureQueriesContext(connection) as queries:
        answer = bench.plan(**body)
    told = [str(query["sql"]) for query in queries.captured_queries]
    return answer, sum(not one.startswith(TURNS) for one in told)


def test_forty_lines_over_hundreds_of_lots(bench: Bench) -> None:
    shop = bench.shop
    materials = [shop.material(f"Material {number}") for number in range(LINES)]
    version = shop.formula("Of forty", [(one, str(D(100) / LINES)) for one in materials])
    wanted = {"formula": str(version.formula_id), "batch": "1 kg"}
    counts = []
    for _ in range(2):
        for _ in range(6):
            deliver(shop, materials, "10 g")
        answer, count = asked(bench, **wanted)
        counts.append(count)
        assert all(len(line["picks"]) >= 3 for line in answer["lines"])
        assert {**bench.get(f"batches/{answer['id']}"), "advice": answer["advice"]} == answer
    assert counts[0] == counts[1] <= MOST_QUERIES


def test_units_of_a_product_in_its_packaging(bench: Bench) -> None:
    shop = bench.shop
    oil, jar = shop.material("Oil"), shop.material("Jar", measured_by="count")
    shop.receive(oil, "300 g", "3.00")
    shop.receive(jar, "20 each", "9.00")
    product = shop.product(shop.formula("Balm", [(oil, "100")]), "50 g", [(jar, "1 each")])
    answer, count = asked(bench, product=str(product.id), units=8)
    assert [pick["count"] for pick in answer["packaging"][0]["picks"]] == ["8"]
    assert answer["lines"][0]["short"] == "100.000000"
    assert {**bench.get(f"batches/{answer['id']}"), "advice": answer["advice"]} == answer
    assert count <= MOST_QUERIES


def test_what_it_advises_takes_as_many_queries_at_any_depth(bench: Bench) -> None:
    """An oil that expires too soon and an intermediate that is not there, on one level or three."""
    shop = bench.shop
    oil, herb = shop.material("Oil"), shop.material("Herb", cautions=["nut"])
    shop.receive(oil, "1 kg", "3.00", expires_on=TODAY + timedelta(days=1))
    day = str(TODAY + timedelta(days=3))
    inner = shop.formula("Infusion 0", [(herb, "100")])
    counts = []
    for number in (1, 2):
        version = shop.formula(f"Balm {number}", [(oil, "60"), (inner, "40")])
        wanted = {"formula": str(version.formula_id), "batch": "100 g", "planned_for": day}
        answer, count = asked(bench, **wanted)
        counts.append(count)
        assert [one["name"] for one in answer["advice"]["expiring"]] == ["Oil"]
        (offer,) = answer["advice"]["intermediates"]
        assert [one["name"] for one in offer["materials"]] == ["Herb"]
        assert "allergen_origin" in [one["code"] for one in answer["cautions"]]
        assert bench.get(f"batches/{answer['id']}/advice") == answer["advice"]
        assert {**bench.get(f"batches/{answer['id']}"), "advice": answer["advice"]} == answer
        inner = shop.formula("Infusion 1", [(inner, "100")])
        inner = shop.formula("Infusion 2", [(inner, "100")])
    assert counts[0] == counts[1]
