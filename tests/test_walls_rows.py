"""The walls, tried from inside: all rows are asked for, without any filter of the application.

Two co-ops of two makers each, with one of everything. What PostgreSQL's row-level security then
leaves is the maker's own, whatever a query forgot.
"""

from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models

from ledger.access import acting_as
from ledger.models import Coop as CoopRow
from tests.exchanging import recalled, settled, shared
from tests.factories import Workshop, open_workshop
from tests.filling import fill, fill_the_rest
from tests.marking import walled

# In one process, which populates them once.


@pytest.fixture(scope="module")
def workshops(database: Any) -> list[Workshop]:
    """Two co-ops of two makers each, populated by the verbs."""
    found = []
    for _ in range(2):
        first = open_workshop("North Bench")
        found += [first, open_workshop("Mill Bench", coop=first.coop)]
    for shop in found:
        fill(shop)
        fill_the_rest(shop)
    for giver, taker in (found[:2], found[2:]):
        recalled(giver, taker)
        recalled(taker, giver)
        shared(giver, taker)
        shared(taker, giver)
        settled(giver, taker)
    return found


def test_every_table_is_behind_a_wall(workshops: list[Workshop]) -> None:
    """Whatever has a co-op is asked for below; whatever has none is known by name."""
    named = {model.__name__ for model in walled()}
    assert {"Lot", "Entry", "Posting", "Holding", "Formula", "Batch", "Token", "Answer"} <= named
    open_to_all = {
        model.__name__
        for app in ("ledger", "formulas", "api")
        for model in apps.get_app_config(app).get_models()
    } - named
    assert open_to_all <= {"Coop", "WorkerLife"}, open_to_all


@pytest.mark.parametrize("model", walled(), ids=lambda model: str(model.__name__))
def test_without_any_filter_only_ones_own_is_there(
    workshops: list[Workshop], model: type[models.Model]
) -> None:
    fields = {field.name for field in model._meta.fields}
    private = "maker" in fields
    rows: Any = model._default_manager
    for shop in workshops:
        with acting_as(shop.actor):
            coops = set(rows.values_list("coop_id", flat=True))
            # What is meant for another maker is seen by that one, too.
            others = rows.exclude(to_maker=shop.actor.maker) if "to_maker" in fields else rows
            makers = set(others.values_list("maker_id", flat=True)) if private else set()
            counted = rows.count()
            with connection.cursor() as cursor:
                cursor.execute(f"select count(*) from {model._meta.db_table}")
                (by_hand,) = cursor.fetchone()
        assert coops <= {shop.actor.coop_id}
        assert makers <= {shop.actor.maker_id, None}
        assert counted == by_hand


def test_the_tables_are_not_empty(workshops: list[Workshop]) -> None:
    """Or the test above would prove nothing."""
    shop = workshops[0]
    with acting_as(shop.actor):
        empty = {m.__name__ for m in walled() if not m._default_manager.exists()}
    may_be = {"Token", "Answer", "Alert", "Watch", "CostPolicy", "Outbox", "Filling", "Sweep"}
    assert sorted(empty - may_be) == []


def test_outside_the_walls_there_is_nothing(workshops: list[Workshop]) -> None:
    everything: list[Any] = [*walled(), CoopRow]
    for model in everything:
        assert not model._default_manager.exists(), model
