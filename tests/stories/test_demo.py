"""The demo co-op on a server's first start: a quarter of three makers' work to look around in."""

import re
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from deploy import embedded
from tests.api.client import Client, sign_in
from tests.migrated import migrated
from tests.running import ROOT, Running

# In one process, which starts it once.
pytestmark = pytest.mark.ground
D = Decimal
SIGN_IN = re.compile(r"demo sign-in: (\S+) / (\S+)")
MAKERS = {"demo-north": "North Bench", "demo-mill": "Mill Bench", "demo-quay": "Quay Bench"}
# What each maker's stock is worth. The same on every day: chance is seeded, and all is told in
# days before today.
WORTH = {"North Bench": D("1359.49"), "Mill Bench": D("1052.46"), "Quay Bench": D("1012.73")}


@pytest.fixture(scope="module")
def demo() -> Iterator[Running]:
    """A server that has nothing yet, as it starts for the first time."""
    home = Path(tempfile.mkdtemp(prefix="stillroom-demo-"))
    running = Running(migrated(home / "data"), {"STILLROOM_DEMO": "1"})
    yield running.wait_ready(600)
    running.discard()
    shutil.rmtree(home, ignore_errors=True)


@pytest.fixture(scope="module")
def benches(demo: Running) -> dict[str, Client]:
    """The three owners, signed in as the terminal says."""
    printed = dict(SIGN_IN.findall(demo.output))
    found = {}
    for user, maker in MAKERS.items():
        token = sign_in(demo, user, printed[user]).made()
        assert token["coop"]["name"] == "Harbour Makers"
        assert [(m["name"], m["role"]) for m in token["makers"]] == [(maker, "owner")]
        found[maker] = Client(demo.port, token["token"], maker_name=maker)
    return found


def each(benches: dict[str, Client], path: str, **query: Any) -> list[dict[str, Any]]:
    """The rows of a list, of all three makers."""
    return [row for bench in benches.values() for row in bench.listed(path, **query)]


def psql(demo: Running, statements: str) -> str:
    """What the database answers the application's role, which is behind the walls."""
    url = embedded.postgres_url(demo.data, "stillroom")
    command = [embedded.postgres_program("psql"), "-X", "-At", "-v", "ON_ERROR_STOP=1", "-d", url]
    ran = subprocess.run(command, input=statements, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


def test_the_terminal_says_how_to_sign_in_before_it_is_ready(demo: Running) -> None:
    ready = demo.lines.index(f"ready {demo.url}")
    before = [SIGN_IN.fullmatch(line) for line in demo.lines[:ready]]
    assert [found[1] for found in before if found] == [*MAKERS, "demo-coordinator"]


def test_what_there_is(benches: dict[str, Client]) -> None:
    north = benches["North Bench"]
    assert len([row for row in north.listed("materials") if not row["own"]]) == 31
    assert len(north.listed("suppliers")) == 5
    bought = [lot for lot in each(benches, "lots") if lot["supplier"]]
    assert len(bought) == 78
    batches = each(benches, "batches")
    states = [batch["state"] for batch in batches]
    assert (states.count("finished"), states.count("planned"), states.count("cancelled")) == (
        40,
        6,
        1,
    )


def test_all_that_is_bought_is_offered_and_orders_came(benches: dict[str, Client]) -> None:
    north = benches["North Bench"]
    offered = {offer["material"] for offer in north.listed("offers")}
    bought = {lot["material"] for lot in each(benches, "lots") if lot["supplier"]}
    assert bought <= offered
    orders = each(benches, "orders")
    closed = [order for order in orders if order["state"] == "closed"]
    assert (len(orders), len(closed)) == (15, 11)
    assert all(line["arrivals"] for order in closed for line in order["lines"])
    jumps = each(benches, "alerts", state="open", kind="price_jump")
    assert {jump["name"] for jump in jumps} == {"Coco-betaine"}


def test_eight_formulas_and_two_of_them_intermediates(benches: dict[str, Client]) -> None:
    formulas, within = set(), set()
    for bench in benches.values():
        for brief in bench.listed("formulas"):
            formula = bench.get(f"formulas/{brief['id']}").made()
            formulas.add(formula["name"])
            lines = [line for phase in formula["phases"] for line in phase["lines"]]
            within |= {line["name"] for line in lines if "formula" in line}
    assert len(formulas) == 8
    assert within == {"Rosemary glycerite", "Oat infusion"}


def test_one_lot_waits_and_one_is_past_its_date(benches: dict[str, Client]) -> None:
    today = datetime.now(UTC).date()
    lots = each(benches, "lots", in_stock="true")
    assert [lot["material_name"] for lot in lots if lot["status"] == "quarantine"] == [
        "Phenoxyethanol"
    ]
    dated = [lot for lot in lots if lot["expires_on"]]
    assert [
        lot["material_name"] for lot in dated if date.fromisoformat(lot["expires_on"]) < today
    ] == ["Lavender oil"]
    assert {lot["status"] for lot in lots} == {"quarantine", "released"}


def test_two_materials_are_low_and_it_is_mailed(demo: Running, benches: dict[str, Client]) -> None:
    def opened() -> list[tuple[str, Decimal, Decimal]]:
        rows = each(benches, "alerts", state="open", kind="low_stock")
        return [(a["name"], D(a["position"]), D(a["reorder_point"])) for a in rows]

    low = [
        ("Glycerin", D("-377.243456"), D(5000)),
        ("Phenoxyethanol", D("593.88"), D(1000)),
    ]
    assert opened() == low
    log, end = demo.data / "log" / "worker.log", time.monotonic() + 90
    while log.read_text().count("is running low") < 2 and time.monotonic() < end:
        time.sleep(0.2)
    mail = log.read_text()
    assert "To: demo-north@stillroom.example" in mail
    assert "To: demo-mill@stillroom.example" in mail
    assert opened() == low, "the worker has looked as well, and nothing has changed"


def test_the_figures_are_the_same_every_day(benches: dict[str, Client]) -> None:
    worth = {
        name: sum((D(row["value"]) for row in bench.listed("stock")), D(0))
        for name, bench in benches.items()
    }
    assert worth == WORTH


def test_what_happens_at_a_bench_happened(benches: dict[str, Client]) -> None:
    """Several lots in one line, a deviation, an abnormal loss, samples; and nothing ahead of us."""
    entries = each(benches, "entries")
    kinds = {entry["kind"] for entry in entries}
    assert kinds == {
        *("receipt", "draw", "make", "fill", "issue", "sale"),
        *("customer_return", "supplier_return", "reversal", "decant", "transfer_out"),
        *("transfer_in", "payment", "deposit", "deposit_return", "late_charge"),
        *("count", "empty", "consign", "unconsign"),
    }
    moments = sorted(datetime.fromisoformat(entry["happened_at"]) for entry in entries)
    now = datetime.now(UTC)
    assert now - timedelta(days=92) < moments[0] < now - timedelta(days=88)
    assert now - timedelta(days=3) < moments[-1] < now
    batches = [
        bench.get(f"batches/{brief['id']}").made()
        for bench in benches.values()
        for brief in bench.listed("batches", state="finished")
    ]
    pours = [[w["line"] for w in batch["weighings"]] for batch in batches]
    assert sum(len(lines) > len(set(lines)) for lines in pours) > 3, "lines from several lots"
    assert sum(bool(w["deviation"]) for batch in batches for w in batch["weighings"]) == 3
    assert sum(D(batch["finished"]["cost"]["abnormal"]) > 0 for batch in batches) == 1


def test_what_the_makers_do_together(benches: dict[str, Client]) -> None:
    """Nobody has answered the last claim; three rounds, one of them handed out; what is owed."""
    quay, mill = benches["Quay Bench"], benches["Mill Bench"]
    assert [share["lot"]["material_name"] for share in quay.listed("shares", of="others")] == [
        *("Xanthan gum", "Citric acid"),
    ]
    assert [claim["state"] for claim in quay.listed("claims")] == ["open"]
    assert [claim["state"] for claim in mill.listed("claims")] == ["accepted"]
    assert [(row["name"], row["state"]) for row in quay.listed("order-rounds")] == [
        ("For the holidays", "open"),
        ("Autumn round", "reckoned"),
        ("Pumps and tins", "reckoned"),
    ]
    assert [(d["amount"], d["days_out"]) for d in quay.listed("deposits")] == [("35.00", 38)]


def test_a_batch_will_be_short_and_what_is_kept_beside_the_books(
    benches: dict[str, Client],
) -> None:
    north = benches["North Bench"]
    (short,) = north.listed("alerts", state="open", kind="batch_short")
    assert "Glycerin" in str(short)
    formulas = {formula["name"]: formula["id"] for formula in north.listed("formulas")}
    kept = north.listed(f"formulas/{formulas['Rosemary hand wash']}/standard-costs")
    assert len(kept) == 1
    assert len(each(benches, "complaints")) == 4


def test_what_was_looked_at(benches: dict[str, Client]) -> None:
    """A count that was closed and one that is open, an exercise that is over, a bill that waits."""
    north = benches["North Bench"]
    assert [sheet["state"] for sheet in north.listed("counts")] == ["open", "closed"]
    (recall,) = north.listed("recalls")
    assert recall["state"] == "closed"
    (packed,) = [one for one in north.listed("order-rounds") if one["name"] == "Pumps and tins"]
    late = north.get(f"order-rounds/{packed['id']}/late-bills").made()
    assert sum(D(line["amount"]) for line in late["waiting"]) > 0


def test_many_units_were_typed(demo: Running) -> None:
    query = "select distinct substring(entered from '[a-z].*') from ledger_receiptline;"
    units = {
        unit for name in MAKERS.values() for unit in psql(demo, inside(name) + query).split("\n")
    }
    assert {"gal", "lb", "kg", "g", "fl oz", "oz wt", "each"} <= units


def test_loading_again_changes_nothing(demo: Running) -> None:
    before = demo.manage("verify_ledger")
    assert before.returncode == 0, before.stdout
    again = demo.manage("load_demo")
    assert (again.returncode, SIGN_IN.findall(again.stdout)) == (0, SIGN_IN.findall(demo.output))
    counts = re.compile(r"entries \d+, postings \d+")
    assert counts.findall(demo.manage("verify_ledger").stdout) == counts.findall(before.stdout)


def inside(maker: str) -> str:
    """The walls of a maker of the demo."""
    return (
        "begin; select set_config('app.coop', id::text, true) from ledger_coops() \\g /dev/null\n"
        "select set_config('app.maker', id::text, true) from ledger_maker"
        f" where name = '{maker}' \\g /dev/null\n"
    )


def test_the_queries_in_the_documents_answer(demo: Running) -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    walls, stock, life, made, layers, wrong = re.findall(r"```sql\n(.*?)```", text, re.DOTALL)
    answers = [psql(demo, walls + "\\echo ----\n" + query) for query in (stock, life, made, layers)]
    rows = [
        [line.split("|") for line in answer.split("----\n")[1].splitlines()] for answer in answers
    ]
    values = {name: D(value) for name, _, value in rows[0]}
    assert values["Glycerin"] > 0
    assert abs(sum(values.values()) - WORTH["North Bench"]) < D("0.01") * len(values)
    assert rows[1][0][1] == "receipt"
    assert D(rows[1][-1][-1]) == 0, "the lot is used up"
    assert sum(D(value) for _, _, value in rows[2]) == 0
    assert {kind for _, _, kind, _, _ in rows[3]} == {"receipt", "draw"}
    assert psql(demo, walls + "\\echo ----\n" + wrong).split("----\n")[1] == ""
