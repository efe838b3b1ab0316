"""A copy of all that a maker has: every table is in it, whole, and nothing of others."""

import csv
import io
import re
from collections import defaultdict
from decimal import Decimal
from typing import Any
from zipfile import ZipFile

import psycopg
import pytest
from django.apps import apps

from deploy.embedded import postgres_url
from formulas.whole_copy import LEFT_OUT, SHARED, copied_models
from tests.api.bodies import DOCUMENT
from tests.api.client import Answer, Coop, open_coop
from tests.api.people import maker_id, member
from tests.api.population import ALLY, populate
from tests.running import Running

Rows = list[dict[str, str]]


def unpacked(answer: Answer) -> dict[str, Rows]:
    """The rows of each file."""
    assert (answer.status, answer.kind) == (200, "application/zip"), answer.raw[:500]
    with ZipFile(io.BytesIO(answer.raw)) as together:
        assert together.testzip() is None
        return {
            name: list(csv.DictReader(io.StringIO(together.read(name).decode("utf-8-sig"))))
            for name in together.namelist()
        }


@pytest.fixture(scope="module")
def coop(server: Running) -> Coop:
    return open_coop(server, "North Bench", ALLY)


@pytest.fixture(scope="module")
def copied(coop: Coop) -> dict[str, Rows]:
    """Of a maker with one of everything, some of it from an ally."""
    populate(coop["North Bench"], "=Nightjar", coop[ALLY])
    return unpacked(coop["North Bench"].get("export"))


def test_what_is_left_out_or_shared_is_a_table() -> None:
    tables = {model._meta.db_table for app in ("ledger", "formulas") for model in _models(app)}
    assert set(LEFT_OUT) <= tables
    assert tables >= set(SHARED)
    assert not set(SHARED) & set(LEFT_OUT)


def _models(app: str) -> Any:
    return apps.get_app_config(app).get_models()


def test_each_table_has_all_that_is_the_makers(
    copied: dict[str, Rows], coop: Coop, server: Running
) -> None:
    """As its owner counts them in PostgreSQL, where no wall stands before them."""
    contents = {row["file"]: row for row in copied["contents.csv"]}
    assert set(copied) == {*contents, "contents.csv"}
    maker = str(maker_id(coop, "North Bench"))
    with psycopg.connect(postgres_url(server.data, "postgres")) as wire:
        for model in copied_models():
            table = model._meta.db_table
            name = f"{table.partition('_')[2]}.csv"
            told = contents.pop(name)
            assert int(told["rows"]) == len(copied[name]), name
            assert told["about"], f"{table} says nothing of itself"
            if table not in SHARED:
                sides = [
                    one.attname for one in model._meta.concrete_fields if one.name == "to_maker"
                ]
                where = " or ".join(f"{side} = %s" for side in ["maker_id", *sides])
                query = f"select count(*) from {table} where {where}"
                (count,) = wire.execute(query, [maker] * (1 + len(sides))).fetchone() or (0,)
                assert len(copied[name]) == count, name
    assert set(contents) == {"person.csv"}


def test_its_entries_sum_to_zero_and_its_texts_are_no_formulas(copied: dict[str, Rows]) -> None:
    of_each: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for row in copied["posting.csv"]:
        of_each[row["entry_id"], row["lot_id"]] += Decimal(row["quantity"])
    assert len(of_each) > 20
    assert not any(quantity for (_, lot), quantity in of_each.items() if lot)
    assert {row["id"] for row in copied["entry.csv"]} == {entry for entry, _ in of_each}
    cells = [cell for rows in copied.values() for row in rows for cell in row.values()]
    assert [cell for cell in cells if cell.startswith("'=Nightjar")]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]


@pytest.mark.parametrize(
    ("role", "status"), [("books", 200), ("bench", 403), ("read-only", 403), ("coordinator", 403)]
)
def test_who_may_take_it(coop: Coop, role: str, status: int) -> None:
    person = member(coop, None if role == "coordinator" else "North Bench", role)
    answer = person.get("export")
    assert answer.status == status, answer.raw[:300]
    if status == 403:
        answer.refused(403, "forbidden")


def test_one_is_made_at_a_time(coop: Coop, server: Running) -> None:
    north, maker = coop["North Bench"], maker_id(coop, "North Bench")
    with psycopg.connect(postgres_url(server.data, "postgres")) as wire:
        wire.execute("select pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"copy of {maker}"])
        refused = north.get("export").refused(409, "conflict")
    assert "wait" in refused["detail"]
    (told,) = [row["get"] for path, row in DOCUMENT["paths"].items() if path.endswith("/export")]
    assert told["responses"]["409"]["description"] == "A copy is being made already."
    assert north.get("export").status == 200


def test_its_name_says_whose_it_is_and_of_which_day(coop: Coop) -> None:
    name = coop["North Bench"].get("export").headers["Content-Disposition"]
    assert re.fullmatch(r'attachment; filename="north-bench-20\d\d-\d\d-\d\d\.zip"', name), name


def test_a_refusal_is_a_page_of_its_own(coop: Coop, server: Running) -> None:
    """The link does not say that it downloads: then a browser would keep the refusal as a file."""
    north, maker = coop["North Bench"], maker_id(coop, "North Bench")
    cookies = {"Cookie": f"stillroom={north.token}"}
    books = north.raw("GET", "/books", None, cookies).raw.decode()
    assert '<a href="/books/copy">' in books
    with psycopg.connect(postgres_url(server.data, "postgres")) as wire:
        wire.execute("select pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"copy of {maker}"])
        refused = north.raw("GET", "/books/copy", None, cookies)
    assert (refused.status, refused.kind) == (409, "text/html")
    assert "wait for that one" in refused.raw.decode()
    assert "Content-Disposition" not in refused.headers
