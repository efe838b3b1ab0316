"""What a batch and its weighings know of what to be careful with."""

from formulas.caution_facts import of_weighing
from formulas.weighing import weigh_back
from ledger.quantities import parse_quantity
from tests.factories import MORNING, Workshop


def test_what_was_weighed_is_cautioned_for_however_its_lot_was_read(shop: Workshop) -> None:
    lye = shop.material("Potassium Hydroxide", cautions=["lye"])
    lot = shop.receive(lye, "1 kg", "9.00")
    planned = shop.plan(shop.formula("Lye", [(lye, "100")]), "1 kg")
    weighed = shop.weigh(planned, 0, lot, "500 g")
    back = shop.does(
        weigh_back,
        batch=planned.batch.id,
        lot=lot.id,
        quantity=parse_quantity("100 g"),
        happened_at=MORNING,
    )
    assert [one.code for one in of_weighing(weighed)] == ["lye"]
    assert [one.code for one in of_weighing(back)] == ["lye"]
