"""Where all of a lot is, when some of it was weighed into a batch and back."""

from collections.abc import Callable
from decimal import Decimal

import pytest

from formulas.batches import cancel_batch
from formulas.planning import Planned
from formulas.weighing import weigh_back
from ledger.models import Lot
from ledger.quantities import parse_quantity
from ledger.tracing import trace
from tests.factories import MORNING, D, Workshop


def weighed_back(shop: Workshop, planned: Planned, lot: Lot) -> None:
    quantity = parse_quantity("400 g")
    shop.does(
        weigh_back, batch=planned.batch.id, lot=lot.id, quantity=quantity, happened_at=MORNING
    )


def cancelled(shop: Workshop, planned: Planned, _: Lot) -> None:
    shop.does(cancel_batch, batch=planned.batch.id, reason="power cut", happened_at=MORNING)


@pytest.mark.parametrize(
    ("going_back", "left"), [(weighed_back, {"in process in {code}": D(600)}), (cancelled, {})]
)
def test_water_that_goes_back_was_never_received(
    shop: Workshop, going_back: Callable[..., None], left: dict[str, Decimal]
) -> None:
    planned = shop.plan(shop.formula("Mist", [(shop.water(), "100")]), "1 kg")
    lot = shop.weigh(planned, 0, None, "1 kg").lot
    going_back(shop, planned, lot)
    balance = shop.does(trace, lot=lot.id, direction="forward").balance
    places = {place.format(code=planned.batch.code): grams for place, grams in left.items()}
    assert dict(balance.places) == places
    assert balance.received == sum(left.values())
    assert balance.difference == 0
