"""The demo has something for every page, and with it no page asks much or is large."""

from collections import defaultdict
from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.auth import get_user_model

from api.pages.reader import Reader
from api.pages.traced_nodes import picture_of
from formulas.access import formulas_of, version_for
from formulas.caution_facts import of_formula
from formulas.demo import loading
from formulas.demo.history import MAKERS
from formulas.demo.people import COORDINATOR, OWNERS
from ledger.access import acting_as, lots_visible_to
from ledger.makers import actor_for, all_coops
from ledger.models import Coop, Document, Maker, Membership
from ledger.trace_ends import ends_of
from ledger.tracing import Direction, trace
from tests.factories import Workshop
from tests.pages.browsing import signed_in
from tests.pages.codes import bare_codes
from tests.pages.drawn import faults_of
from tests.pages.figures import all_of, workings_of
from tests.pages.looking import FILES, ROUTES, Seen, all_pages, found_by_name, slow
from tests.pages.opening import Figure, figures_of_all, tells
from tests.pages.unopened import FOR_ALL, UNOPENED, reasons_of, without_reason
from tests.running import ROOT

MOST, MOST_BYTES = 15, 60_000
# What a browser that has nothing yet is sent with a page: all of our files at most.
MOST_AT_FIRST = 150_000
STATIC, LOADED = ROOT / "api" / "static", {".css", ".js", ".svg"}
# Of each kind of page so many are looked at.
OF_EACH = 4
# A long list is there only until it is taken in.
PASSING = {"/sent-lists/<uuid:id>"}


@pytest.fixture(scope="module")
def seen(demo: dict[str, Workshop]) -> dict[str, list[Seen]]:
    """The pages that its first maker, another and the coordinator come to."""
    client = signed_in(demo["north"])
    first = all_pages(client, of_each=OF_EACH, also=found_by_name(client))
    others = {who: list(all_pages(signed_in(demo[who]), of_each=2)) for who in ("mill", "coop")}
    return {"north": list(first), **others}


@pytest.fixture(scope="module")
def demo(database: Any, redis_server: Any) -> dict[str, Workshop]:
    """Whoever acts in the demo: its makers by their keys, and the coordinator."""
    before = set(all_coops())
    loading.load(now=datetime.now(UTC))
    ((id, _),) = set(all_coops()) - before
    people = {one.username: one.pk for one in get_user_model().objects.all()}
    coordinator = actor_for(
        Coop(id=id, currency="USD", time_zone="UTC"),
        None,
        people[COORDINATOR],
        Membership.Role.COORDINATOR,
    )
    with acting_as(coordinator):
        coop = Coop.objects.get(id=id)
        makers = {one.name: one.id for one in Maker.objects.filter(coop_id=id)}
    owners = {
        key: actor_for(coop, makers[name], people[OWNERS[key]], Membership.Role.OWNER)
        for key, name in MAKERS.items()
    }
    actors = {**owners, "coop": coordinator}
    return {key: Workshop(coop, actor) for key, actor in actors.items()}


def test_every_page_has_something_and_is_quick(seen: dict[str, list[Seen]]) -> None:
    """Of its first maker."""
    pages = seen["north"]
    assert {one.status for one in pages} == {200}
    assert set(ROUTES) - {one.route for one in pages} <= FILES | PASSING
    assert slow(pages, MOST) == []
    assert [(one.path, one.size) for one in pages if one.size > MOST_BYTES] == []
    assert {one.path: bare_codes(one.text) for one in pages if bare_codes(one.text)} == {}
    files = sum(one.stat().st_size for one in STATIC.iterdir() if one.suffix in LOADED)
    assert files + max(one.size for one in pages) <= MOST_AT_FIRST


@pytest.mark.parametrize("who", ["mill", "coop"])
def test_nobody_else_meets_a_slow_page(seen: dict[str, list[Seen]], who: str) -> None:
    pages = seen[who]
    assert [(one.path, one.status) for one in pages if one.status not in (200, 403)] == []
    assert slow(pages, MOST) == []
    assert [(one.path, one.size) for one in pages if one.size > MOST_BYTES] == []
    assert {one.path: bare_codes(one.text) for one in pages if bare_codes(one.text)} == {}


def test_every_figure_opens_or_has_its_reason_not_to(seen: dict[str, list[Seen]]) -> None:
    makers = figures_of_all([*seen["north"], *seen["mill"]])
    for_all = figures_of_all(seen["coop"])
    assert without_reason(makers, UNOPENED) == []
    assert without_reason(for_all, UNOPENED, FOR_ALL) == []
    assert reasons_of([*makers, *for_all], UNOPENED) == set(UNOPENED), "one is of no figure"
    assert reasons_of(for_all, FOR_ALL) == set(FOR_ALL), "one is of no figure"


def test_what_a_figure_opens_to_has_that_figure(
    demo: dict[str, Workshop], seen: dict[str, list[Seen]]
) -> None:
    """All that open on their own page, and two of each kind of the others."""
    client, texts = signed_in(demo["north"]), {one.path: one.text for one in seen["north"]}
    kinds = defaultdict[tuple[str, str], list[Figure]](list)
    for one in figures_of_all(seen["north"]):
        if one.in_place:
            kinds[one.route, one.label].append(one)
    here = [one for those in kinds.values() for one in those if one.to.startswith("#")]
    asked = here + [one for those in kinds.values() for one in those[:2]]
    assert [one for one in asked if not tells(client, one, texts[one.path])] == []


@pytest.mark.parametrize("key", MAKERS)
@pytest.mark.parametrize("way", ["forward", "back"])
def test_no_trace_shows_what_did_not_flow(
    demo: dict[str, Workshop], key: str, way: Direction
) -> None:
    """In no picture of a trace a band passes a box that it has nothing to do with."""
    drawn = 0
    with acting_as(demo[key].actor) as actor:
        for lot in lots_visible_to(actor).values_list("id", flat=True):
            traced = trace(actor, lot=lot, direction=way)
            ends = ends_of(actor, [one.id for one in traced.lots]) if way == "forward" else []
            shown = picture_of(traced.lots, ends, lot, Reader().quantity)
            assert shown is None or faults_of(shown) == [], traced.lot.code
            drawn += shown is not None
    assert drawn > 4


def test_what_is_worked_out_on_a_page_adds_up(seen: dict[str, list[Seen]]) -> None:
    pages = [one for those in seen.values() for one in those]
    told = [
        (one.path, part) for one in pages for part in all_of(workings_of(one.text, led_to=True))
    ]
    assert len([path for path, part in told if part.parts]) > 100
    assert [(path, part) for path, part in told if part.parts and not part.adds_up] == []


def test_no_formula_is_called_unpreserved(demo: dict[str, Workshop]) -> None:
    """Whoever tries the demo is not warned of what it has."""
    codes = {}
    for key in MAKERS:
        with acting_as(demo[key].actor) as actor:
            for one in formulas_of(actor):
                version = version_for(actor, one.id)
                codes[one.material.name] = {caution.code for caution in of_formula(version)}
    assert len(codes) == 8
    assert {name for name, found in codes.items() if "water_unpreserved" in found} == set()


def test_a_lot_has_its_papers(demo: dict[str, Workshop]) -> None:
    """A certificate and a safety sheet, which say of whom and which lot they are."""
    with acting_as(demo["north"].actor):
        papers = {one.kind: one for one in Document.objects.select_related("lot")}
    assert set(papers) == {"coa", "sds"}
    for one in papers.values():
        assert bytes(one.content).startswith(b"%PDF-1.4\n")
        assert f"(Lot {one.lot.supplier_lot}) Tj".encode() in bytes(one.content)
        assert b"(Valley Surfactants) Tj" in bytes(one.content)
