"""Plans whose day is long past give back what they were promised."""

from datetime import timedelta
from typing import TYPE_CHECKING

from formulas.access import batch_for
from formulas.staleness import PATIENCE, give_back_stale
from ledger.access import acting_as
from ledger.models import Reservation, Shortfall
from tests.factories import MORNING, TODAY

if TYPE_CHECKING:
    from tests.factories import Workshop


def held(shop: "Workshop") -> tuple[int, int]:
    """How many promises and shortages the maker has."""
    with acting_as(shop.actor):
        return Reservation.objects.count(), Shortfall.objects.count()


def test_a_plan_long_past_gives_back_with_a_note(shop: "Workshop") -> None:
    oil = shop.material("Helianthus Annuus Seed Oil")
    shop.receive(oil, "4 kg", "20.00")
    balm = shop.formula("Balm base", [(oil, "100")])
    planned = shop.plan(balm, "5 kg", planned_for=TODAY)
    assert held(shop) == (1, 1)

    give_back_stale(now=MORNING + PATIENCE)
    assert held(shop) == (1, 1), "two weeks are not over yet"

    give_back_stale(now=MORNING + PATIENCE + timedelta(days=1))
    assert held(shop) == (0, 0)
    batch = shop.does(batch_for, planned.batch.id)
    assert batch.state == "planned"
    assert "given back" in batch.note
