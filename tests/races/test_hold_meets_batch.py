"""A lot is put on hold while it is weighed into a batch, and while the batch is finished.

Whoever comes first: what is made from the lot ends on hold, or nothing of it was weighed.
"""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from ledger.errors import LotNotReleased
from ledger.lots import custody_of
from ledger.models import Lot
from ledger.stopping import decide_through
from tests.factories import Workshop, open_workshop
from tests.races.crowd import all_at_once

pytestmark = pytest.mark.usefixtures("database")
ROUNDS = 5


def hold(shop: Workshop, lot: Lot) -> Any:
    return shop.does(decide_through, lot=lot.id, decision="hold", basis="moths in the sack")


def status(shop: Workshop, lot: Lot) -> str:
    return str(shop.does(custody_of, lot=lot).status)


def _both(works: list[Callable[[], Any]]) -> list[Any]:
    return list(all_at_once(works))


def test_a_hold_and_a_weighing_at_once() -> None:
    for _ in range(ROUNDS):
        shop = open_workshop()
        lot = shop.receive(shop.material("Olive"), "1 kg", "20.00")
        planned = shop.plan(shop.formula("Soap", [(lot.material, "100")]), "100 g")
        held, weighed = _both([partial(hold, shop, lot), partial(shop.weigh_all, planned)])
        assert not isinstance(held, Exception), held
        if isinstance(weighed, Exception):
            assert isinstance(weighed, LotNotReleased), weighed
            assert held.in_process == []
        else:
            # The hold tells of the batch if the weighing came first.
            assert held.in_process == [planned.batch.code]
        assert status(shop, lot) == "hold"


def test_a_hold_and_a_finish_at_once() -> None:
    for _ in range(ROUNDS):
        shop = open_workshop()
        lot = shop.receive(shop.material("Olive"), "1 kg", "20.00")
        planned = shop.plan(shop.formula("Soap", [(lot.material, "100")]), "100 g")
        shop.weigh_all(planned)
        held, made = _both([partial(hold, shop, lot), partial(shop.finish, planned, "100 g")])
        assert not isinstance(held, Exception), held
        assert not isinstance(made, Exception), made
        assert status(shop, made.lot) == "hold"
