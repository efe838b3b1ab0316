"""What the draws of a lot tell of its opening, in whatever order days, draws and words come."""

from datetime import date, timedelta

import pytest

from formulas.filling import fill
from ledger.access import acting_as
from ledger.entries import reverse_entry
from ledger.errors import Invalid, LotOpenTooLong
from ledger.lots import custody_of
from ledger.models import Entry, Lot, Material
from ledger.opened_lots import openings_of, opens_until
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, Workshop, on, open_workshop
from tests.openings import after, drawn_off, given, lasts, sampled, seen, told

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shop() -> Workshop:
    return open_workshop()


@pytest.fixture
def oil(shop: Workshop) -> Material:
    """Nobody knows yet for how long it is good once it is open."""
    return shop.material("Rosehip Oil")


def foreseen(shop: Workshop, lot: Lot, day: date) -> date | None:
    """By when it would be to be used if some were taken on a day."""
    with acting_as(shop.actor):
        return opens_until(shop.actor, custody_of(shop.actor, lot), day)


def come_back(shop: Workshop, oil: Material) -> Lot:
    """A lot that was used up, opened on the first day, when its material came by thirty days; then
    some of it comes back."""
    lot = shop.receive(oil, "110 g", "10")
    for quantity in ("10 g", "100 g"):
        sampled(shop, lot, 0, quantity=quantity)
    lasts(shop, oil, 30)
    with acting_as(shop.actor):
        *_, last = Entry.objects.filter(kind=Entry.Kind.ISSUE).order_by("id")
    slip = {"reason": "another lot", "happened_at": MORNING + timedelta(days=1)}
    shop.does(reverse_entry, entry=last.id, **slip)
    return lot


def test_what_was_drawn_before_it_had_days_opened_it_then(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    sampled(shop, lot, 1, "write-off")
    for day in (4, 2, 3):
        sampled(shop, lot, day)
    assert seen(shop, lot) == (None, None)
    lasts(shop, oil, 30)
    assert seen(shop, lot) == (after(2), after(32))
    assert foreseen(shop, lot, after(20)) is None, "it is open already"
    assert shop.disagreements() == []


def test_what_was_used_up_and_came_back_is_open_since_its_first_draw(
    shop: Workshop, oil: Material
) -> None:
    lot = come_back(shop, oil)
    assert seen(shop, lot) == (None, None)
    assert foreseen(shop, lot, after(20)) == after(30)
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg", planned_for=TODAY)
    first = shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-05-26"))
    assert first.opened_until == after(30)
    assert seen(shop, lot) == (TODAY, after(30))


def test_a_draw_that_was_taken_back_opened_nothing(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg", planned_for=TODAY)
    slip = shop.weigh(planned, 0, lot, "10 g").weighing.entry_id
    facts = {"reason": "another lot", "happened_at": MORNING + timedelta(days=1)}
    shop.does(reverse_entry, entry=slip, **facts)
    lasts(shop, oil, 30)
    sampled(shop, lot, 5)
    assert seen(shop, lot) == (after(5), after(35))


def test_too_late_after_a_draw_of_old_it_is_refused_and_the_way_out_is_told(
    shop: Workshop, oil: Material
) -> None:
    lot = come_back(shop, oil)
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg", planned_for=TODAY)
    late = on("2025-06-06")
    with pytest.raises(LotOpenTooLong) as refused:
        shop.weigh(planned, 0, lot, "10 g", happened_at=late)
    assert str(refused.value) == (
        f"The lot {lot.code} is open since some of it was drawn on 2025-05-06, and lasts 30 days"
        " then, until 2025-06-05: choose another, record a deviation, or say on which day the"
        " container that you use was opened."
    )
    assert refused.value.pointer == "/lot"
    assert seen(shop, lot) == (None, None), "what is refused leaves nothing behind"
    used = shop.weigh(planned, 0, lot, "10 g", happened_at=late, deviation="smells as new")
    assert used.weighing.overrode == ["open_too_long"]
    assert used.opened_until == after(30)
    assert seen(shop, lot) == (TODAY, after(30))


def test_another_container_is_said_for_a_reason_and_used(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    sampled(shop, lot, 0)
    with pytest.raises(Invalid, match="drawn on 2025-05-06 already") as silent:
        told(shop, lot, after(20))
    assert silent.value.pointer == "/reason"
    lasts(shop, oil, 30)
    told(shop, lot, after(20), "the second can")
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg", planned_for=TODAY)
    assert shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-06-06")).opened_until is None
    assert seen(shop, lot) == (after(20), after(50))
    told(shop, lot, None, "the third can is sealed")
    assert foreseen(shop, lot, after(40)) == after(70), "what is known since counts"
    sampled(shop, lot, 40)
    assert seen(shop, lot) == (after(40), after(70))


def test_the_day_of_the_first_draw_needs_no_reason(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    sampled(shop, lot, 3)
    told(shop, lot, after(3))
    assert seen(shop, lot) == (after(3), None)


@pytest.mark.parametrize("days", [365, None])
def test_a_draw_told_late_leaves_an_open_lot_the_days_it_had(
    shop: Workshop, oil: Material, days: int | None
) -> None:
    lasts(shop, oil, 30)
    lot = shop.receive(oil, "5 kg", "100")
    sampled(shop, lot, 9)
    assert seen(shop, lot) == (after(9), after(39))
    lasts(shop, oil, days)
    assert foreseen(shop, lot, after(8)) == after(38)
    assert foreseen(shop, lot, after(9)) is None
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg", planned_for=TODAY)
    late = shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-05-14"))
    assert late.opened_until == after(38)
    assert seen(shop, lot) == (after(8), after(38))


def test_an_open_lot_without_days_gets_none_by_a_draw_told_late(
    shop: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    told(shop, lot, after(9))
    assert foreseen(shop, lot, after(8)) is None
    sampled(shop, lot, 8)
    assert seen(shop, lot) == (after(8), None)


def test_what_was_drawn_off_is_open_since_then(shop: Workshop, oil: Material) -> None:
    drum = shop.receive(oil, "5 kg", "100")
    can = drawn_off(shop, drum, 2)
    lasts(shop, oil, 30)
    for lot in (drum, can):
        assert seen(shop, lot) == (after(2), after(32))


def test_a_fill_knows_the_first_draw_of_its_bulk(shop: Workshop, oil: Material) -> None:
    shop.receive(oil, "5 kg", "100")
    version = shop.formula("Balm", [(oil, "100")])
    bulk = shop.made_lot(version, "1000")
    sampled(shop, bulk, 1)
    lasts(shop, bulk.material, 30)
    jars = shop.product(version, "10 g")
    facts = {"units": 3, "used": parse_quantity("30 g"), "happened_at": on("2025-05-20")}
    shop.does(fill, product=jars.id, lot=bulk.id, **facts)
    assert seen(shop, bulk) == (after(1), after(31))


def test_whoever_used_up_an_open_pail_may_get_a_sealed_one(shop: Workshop, oil: Material) -> None:
    lasts(shop, oil, 30)
    other = open_workshop("Mill Bench", coop=shop.coop)
    lot = shop.receive(oil, "5 kg", "100")
    given(shop, other, lot, "30 g")
    sampled(other, lot, 1)
    given(shop, other, lot, "10 g")
    assert seen(other, lot) == (after(1), after(31)), "some of the open one is left"
    for _ in range(3):
        sampled(other, lot, 2)
    given(shop, other, lot, "10 g")
    assert seen(other, lot) == (None, None)
    with acting_as(other.actor):
        newest, *_ = openings_of(other.actor, lot)
    assert newest.entry is not None
    assert newest.entry.kind == "transfer_in"
    assert other.disagreements() == shop.disagreements() == []
