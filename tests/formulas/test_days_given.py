"""A material comes by its days once open: what is open of it has them with every maker at once."""

from datetime import timedelta

import pytest
from django.db import connection
from django.db.utils import DatabaseError
from django.test.utils import CaptureQueriesContext

from formulas.today import today
from formulas.usable_lots import usable_lot
from ledger.access import Actor, acting_as
from ledger.alerts import set_watch
from ledger.balances import stock
from ledger.errors import LotOpenTooLong
from ledger.issuing import Taken, sell, take_back
from ledger.models import Lot, LotOpening, Material, Outbox
from ledger.opened_lots import give_days, openings_of
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, Workshop, on, open_workshop
from tests.ledger.books import refused_by
from tests.openings import after, given, lasts, sampled, seen, told

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shop() -> Workshop:
    return open_workshop()


@pytest.fixture
def mill(shop: Workshop) -> Workshop:
    return open_workshop("Mill Bench", coop=shop.coop)


@pytest.fixture
def oil(shop: Workshop) -> Material:
    """Nobody knows yet for how long it is good once it is open."""
    return shop.material("Rosehip Oil")


def kept(shop: Workshop, lot: Lot) -> list[LotOpening]:
    """What is kept of its opening, the latest first."""
    return shop.does(lambda actor: list(openings_of(actor, lot)))


def usable(shop: Workshop, oil: Material, days: int) -> int:
    """Grams that stand as usable so many days after the first."""
    (row,) = shop.does(stock, now=MORNING + timedelta(days=days), materials=[oil.id])
    return int(row.usable)


def test_what_is_open_has_them_with_every_maker(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lots = {shop: shop.receive(oil, "1 kg", "20"), mill: mill.receive(oil, "2 kg", "40")}
    for place, (maker, lot) in enumerate(lots.items()):
        sampled(maker, lot, 1 + place)
    assert (usable(shop, oil, 40), usable(mill, oil, 40)) == (990, 1990)
    lasts(shop, oil, 30)
    for place, (maker, lot) in enumerate(lots.items()):
        assert seen(maker, lot) == (after(1 + place), after(31 + place))
        assert (usable(maker, oil, 31), usable(maker, oil, 33)) == (990 + 1000 * place, 0)
        (row,) = kept(maker, lot)
        assert (row.person_id, row.entry_id, row.reason) == (None, None, "")
        (ending,) = maker.does(today, now=on("2025-05-10")).expiring
        assert (ending.lot_id, ending.ends) == (lot.id, after(31 + place))
        assert maker.disagreements() == []


def test_no_batch_is_promised_what_the_bench_would_refuse(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "1 kg", "20")
    sampled(shop, lot, 0)
    formula = shop.formula("Balm", [(oil, "100")])
    lasts(shop, oil, 30)
    late = shop.plan(formula, "100 g", planned_for=after(31))
    assert [line.picks for line in late.lines] == [()]
    with pytest.raises(LotOpenTooLong, match="was opened on 2025-05-06"):
        shop.does(usable_lot, lot.id, "/lot", late.batch)
    with pytest.raises(LotOpenTooLong, match="say on which day the container that you use"):
        shop.weigh(late, 0, lot, "10 g", happened_at=on("2025-06-06"))


def test_what_was_said_without_days_has_them_too(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "1 kg", "20")
    told(shop, lot, after(2))
    sampled(shop, lot, 5)
    lasts(shop, oil, 30)
    assert seen(shop, lot) == (after(2), after(32))
    given_days, said = kept(shop, lot)
    assert (given_days.person_id, said.person_id) == (None, shop.actor.person_id)
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "100 g", planned_for=TODAY)
    with pytest.raises(LotOpenTooLong) as refused:
        shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-06-08"))
    assert "was opened on 2025-05-08" in str(refused.value), "somebody said so"


def test_what_is_sealed_used_up_or_has_days_is_left_as_it_is(shop: Workshop, oil: Material) -> None:
    sealed, gone, had = (shop.receive(oil, "1 kg", "20") for _ in range(3))
    sampled(shop, sealed, 0, "write-off")
    sampled(shop, gone, 0, quantity="1 kg")
    lasts(shop, oil, 10)
    sampled(shop, had, 0)
    lasts(shop, oil, 20)
    lasts(shop, oil, None)
    lasts(shop, oil, 30)
    assert kept(shop, sealed) == kept(shop, gone) == []
    assert seen(shop, had) == (TODAY, after(10))
    assert len(kept(shop, had)) == 1


def test_what_was_said_to_be_open_has_them_when_some_comes_back(
    shop: Workshop, oil: Material
) -> None:
    """All of it was sold when the days came, and no draw would open once more what is open."""
    lot = shop.receive(oil, "1 kg", "20")
    told(shop, lot, TODAY)
    all_of_it, half = (
        [Taken(lot=lot.id, quantity=parse_quantity(much))] for much in ("1 kg", "500 g")
    )
    sold = shop.does(sell, lines=all_of_it, customer="Ada", happened_at=MORNING)
    lasts(shop, oil, 30)
    back = {"reason": "too many", "happened_at": on("2025-05-08")}
    shop.does(take_back, sale=sold.posted.entry_id, lines=half, **back)
    assert seen(shop, lot) == (TODAY, after(30))
    assert (usable(shop, oil, 30), usable(shop, oil, 31)) == (500, 0)
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "100 g", planned_for=TODAY)
    with pytest.raises(LotOpenTooLong):
        shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-06-06"))


def test_it_counts_from_the_draws_since_it_was_said_to_be_sealed(
    shop: Workshop, oil: Material
) -> None:
    lot, other = shop.receive(oil, "1 kg", "20"), shop.receive(oil, "1 kg", "20")
    for one in (lot, other):
        sampled(shop, one, 0)
        told(shop, one, None, "the other can is sealed")
    sampled(shop, lot, 5)
    lasts(shop, oil, 30)
    assert seen(shop, lot) == (after(5), after(35))
    assert seen(shop, other) == (None, None)


def test_the_watches_of_all_whose_stock_it_touches_look_again(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    still = open_workshop("Quay Bench", coop=shop.coop)
    point = parse_quantity("100 g")
    for maker in (shop, mill, still):
        lot = maker.receive(oil, "1 kg", "20")
        if maker is not still:
            sampled(maker, lot, 0)
        maker.does(set_watch, material=oil.id, reorder_point=point)

    def owed(maker: Workshop) -> int:
        rows = Outbox.objects.filter(subject=oil.id, done_at=None)
        return maker.does(lambda actor: rows.filter(maker_id=actor.maker).count())

    def does_all(actor: Actor) -> None:
        Outbox.objects.filter(maker_id=actor.maker, subject=oil.id).update(done_at=MORNING)

    for maker in (shop, mill, still):
        maker.does(does_all)
    lasts(mill, oil, 30)
    assert [owed(maker) for maker in (shop, mill, still)] == [1, 1, 0]


def test_it_asks_no_more_of_many_lots_than_of_one(shop: Workshop, mill: Workshop) -> None:
    asked = []
    for lots in (1, 4):
        oil = shop.material(f"Oil {lots}")
        for maker in (shop, mill):
            for _ in range(lots):
                sampled(maker, maker.receive(oil, "1 kg", "20"), 0)
        with CaptureQueriesContext(connection) as queries:
            lasts(shop, oil, 30)
        asked.append(len(queries))
    assert asked[0] == asked[1]


def test_pieces_are_not_opened_by_their_draws(shop: Workshop, mill: Workshop) -> None:
    jar = shop.material("Jar", measured_by="count")
    lot = shop.receive(jar, "20 each", "10")
    sampled(shop, lot, 0, quantity="1 each")
    given(shop, mill, lot, "5 each")
    sampled(mill, lot, 0, quantity="5 each")
    given(shop, mill, lot, "5 each")
    assert kept(mill, lot) == []
    assert seen(mill, lot) == (None, None)


def test_somebody_says_it_or_it_comes_with_its_material(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "1 kg", "20")
    row = {"coop_id": shop.coop.id, "maker_id": shop.actor.maker, "lot": lot, "opened_on": TODAY}
    with pytest.raises(DatabaseError) as silent, acting_as(shop.actor):
        LotOpening.objects.create(**row)
    assert refused_by(silent.value) == "opening_said_by_somebody"
    own = mill.made_lot(mill.formula("Balm", [(mill.water(), "100")]), "100").material
    with pytest.raises(DatabaseError) as others, acting_as(shop.actor):
        give_days(own)
    assert refused_by(others.value) == "days_of_known_material"
