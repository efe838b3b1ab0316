"""Doing what the demo's data tells, in the order in which it happened."""

from collections.abc import Callable, Mapping
from datetime import date, datetime
from functools import partial
from random import Random
from typing import Final
from uuid import UUID

from django.db import transaction

from formulas.demo import history
from formulas.demo.bench import Bench
from formulas.demo.called_back import CALLED_BACK
from formulas.demo.catalogue import MATERIALS, SUPPLIERS
from formulas.demo.certificates import CERTIFICATES
from formulas.demo.containers import CONTAINERS
from formulas.demo.counts import COUNTS
from formulas.demo.handed_out import HANDED_OUT
from formulas.demo.incidents import INCIDENTS
from formulas.demo.offers import write_offers
from formulas.demo.papers import PAPERS
from formulas.demo.people import COORDINATOR, OWNERS, PASSWORD, PEOPLE
from formulas.demo.programs import program_told
from formulas.demo.quality import QUALITY
from formulas.demo.recipes import PRODUCTS, RECIPES
from formulas.demo.rounds import ROUNDS
from formulas.demo.sharing import GIVEN
from formulas.demo.shelves import SHELVED
from formulas.demo.small_lots import SMALL_LOTS
from formulas.demo.versions import VERSIONS
from ledger.access import Actor, set_walls
from ledger.alerts import look_at, set_watch
from ledger.catalogue import add_material, add_supplier
from ledger.cost_formulas import choose_cost_formula
from ledger.makers import actor_for, open_coop, open_maker, person_named
from ledger.models import Membership
from ledger.quantities import parse_quantity
from ledger.reviewing import review

MARKET_EVERY_DAYS: Final = 7
LAST_MARKET_DAYS_AGO: Final = 2
# Whoever acts for the co-op stands among the makers under this name.
COOP: Final = "coop"
BEFELL: Final = (
    *(*INCIDENTS, *GIVEN, *PAPERS, *ROUNDS, *HANDED_OUT, *CERTIFICATES),
    *(*QUALITY, *SMALL_LOTS, *VERSIONS, *CONTAINERS, *CALLED_BACK, *COUNTS),
    *SHELVED,
)

Benches = Mapping[str, Bench]


def load(*, now: datetime) -> None:
    """Open the demo co-op with its quarter of history, which ends now: all of it, or nothing.

    One transaction, so that a start that is interrupted can be repeated; the walls are set by
    turns to each maker, as every request sets them for its own.
    """
    with transaction.atomic(durable=True):
        benches, coop = _open(now.date())
        prices = write_offers(coop)
        for days_ago in range(history.LONG_AGO, 0, -1):
            for ago, event in prices:
                if ago == days_ago:
                    event()
            for event in _events_of(days_ago, {**benches, COOP: coop}):
                event()
        for plan in history.PLANS:
            bench = benches[PRODUCTS[plan.what].maker]
            bench.plan(plan.what, plan.size, bench.day(-plan.in_days))
        _watch(benches, now)
        program_told(benches["north"])


def _open(today: date) -> tuple[Benches, Bench]:
    """The makers, and who acts for the co-op: its people, its catalogue, what each maker makes."""
    people = {
        name: person_named(name, password=PASSWORD, email=f"{name}@stillroom.example")
        for name in PEOPLE
    }
    coordinator = people[COORDINATOR]
    coop = open_coop(name=history.COOP, currency="USD", time_zone="UTC", coordinator=coordinator)
    role = Membership.Role.COORDINATOR
    acting = actor_for(coop, None, coordinator.pk, role)
    materials, suppliers = _catalogue(acting)
    benches = {}
    for number, (key, name) in enumerate(history.MAKERS.items()):
        owner = people[OWNERS[key]]
        maker = open_maker(coop=coop, name=name, owner=owner)
        actor = actor_for(coop, maker.id, owner.pk, Membership.Role.OWNER)
        chance = Random(number)  # noqa: S311 - the same every day, and no secret
        benches[key] = Bench(actor, today, chance, materials, suppliers)
    fifo = benches[history.FIFO_MAKER]
    fifo.does(
        choose_cost_formula,
        cost_class="material",
        formula="fifo",
        reason="as the accountant has always had it",
        happened_at=fifo.at(history.LONG_AGO, 9),
    )
    for key, recipe in RECIPES.items():
        benches[recipe.maker].write_formula(key, recipe)
    for key, product in PRODUCTS.items():
        benches[product.maker].add_product(key, product)
    return benches, Bench(acting, today, Random(), materials, suppliers)  # noqa: S311 - not asked


def _catalogue(actor: Actor) -> tuple[dict[str, UUID], dict[str, UUID]]:
    """What all makers share, entered by the coordinator."""
    set_walls(actor.coop_id, None)
    materials = {key: add_material(actor, facts).id for key, facts in MATERIALS.items()}
    suppliers = {
        key: add_supplier(actor, name=name, mail=f"orders@{key}.example").id
        for key, name in SUPPLIERS.items()
    }
    return materials, suppliers


def _events_of(days_ago: int, benches: Benches) -> list[Callable[[], None]]:
    """What happened on a day, in its order: deliveries, batches, the rest, the market."""
    events: list[Callable[[], None]] = []
    for delivery in history.DELIVERIES:
        if delivery.days_ago == days_ago:
            events.append(partial(benches[delivery.maker].receive, delivery))
        if delivery.ordered and delivery.days_ago + delivery.ordered == days_ago:
            events.append(partial(benches[delivery.maker].order, delivery))
    for made in history.BATCHES:
        if made.days_ago == days_ago:
            events.append(partial(benches[_maker_of(made.what)].make, made))
    for incident in BEFELL:
        if incident.days_ago == days_ago:
            events.append(partial(incident.happens, benches[incident.maker], days_ago))
    if days_ago % MARKET_EVERY_DAYS == LAST_MARKET_DAYS_AGO:
        events += [partial(bench.market, days_ago) for bench in benches.values()]
    return events


def _maker_of(what: str) -> str:
    return PRODUCTS[what].maker if what in PRODUCTS else RECIPES[what].maker


def _watch(benches: Benches, now: datetime) -> None:
    """Set the reorder points, and look at once, so that the alerts do not wait for the worker."""
    for watch in history.WATCHES:
        bench = benches[watch.maker]
        material = bench.materials[watch.material]
        point = parse_quantity(watch.reorder_point)
        bench.does(set_watch, material=material, reorder_point=point)
        look_at(bench.actor.coop_id, bench.actor.maker, material, now=now)
    for bench in benches.values():
        set_walls(bench.actor.coop_id, bench.actor.maker)
        review(bench.actor.coop_id, bench.actor.maker, now=now)
