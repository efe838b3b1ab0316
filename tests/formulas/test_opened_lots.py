"""A lot that was opened is used within so many days, whatever its expiry says."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from formulas.batches import cancel_batch
from formulas.today import today
from formulas.topping_up import top_up
from ledger.access import acting_as
from ledger.balances import stock
from ledger.catalogue import change_material
from ledger.decanting import Drawn, decant, draws_of
from ledger.deviations import broken_by
from ledger.errors import Forbidden, Invalid, LotExpired, LotOpenTooLong, NotFound
from ledger.issuing import Taken, issue
from ledger.lots import custody_of
from ledger.models import Custody, Lot, LotOpening, Material
from ledger.opened_lots import openings_of, say_opened
from ledger.quantities import parse_quantity
from ledger.retesting import retest
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, TODAY, Workshop, on, open_workshop

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shop() -> Workshop:
    return open_workshop()


@pytest.fixture
def oil(shop: Workshop) -> Material:
    """Good for thirty days once it is open."""
    return shop.material("Rosehip Oil", use_within_days=30)


def after(days: int) -> date:
    return TODAY + timedelta(days=days)


def opened(shop: Workshop, lot: Lot, day: date | None, reason: str = "") -> LotOpening:
    return shop.does(say_opened, lot=lot.id, opened_on=day, reason=reason)


def seen(shop: Workshop, lot: Lot) -> tuple[date | None, date | None]:
    """Since when a lot is open, and by when it is to be used."""
    with acting_as(shop.actor):
        custody = custody_of(shop.actor, lot)
    return custody.opened_on, custody.use_by


def test_a_maker_says_when_it_opened_a_lot_and_puts_it_right(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    assert seen(shop, lot) == (None, None)
    opened(shop, lot, after(2))
    assert seen(shop, lot) == (after(2), after(32))
    with pytest.raises(Invalid, match="Say why") as silent:
        opened(shop, lot, after(3), "  ")
    assert silent.value.pointer == "/reason"
    opened(shop, lot, after(3), "the day before was a slip")
    assert seen(shop, lot) == (after(3), after(33))
    opened(shop, lot, None, "it was the other drum")
    assert seen(shop, lot) == (None, None)
    opened(shop, lot, after(4))
    with acting_as(shop.actor):
        kept = [(one.opened_on, one.reason) for one in openings_of(shop.actor, lot)]
    assert kept == [
        (after(4), ""),
        (None, "it was the other drum"),
        (after(3), "the day before was a slip"),
        (after(2), ""),
    ]


@pytest.mark.parametrize(
    ("day", "reason", "pointer"),
    [
        (after(-1), "", "/opened_on"),
        (date(2999, 1, 1), "", "/opened_on"),
        (None, "it was another", "/opened_on"),
    ],
)
def test_what_cannot_be_is_refused(
    shop: Workshop, oil: Material, day: date | None, reason: str, pointer: str
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    with pytest.raises(Invalid) as refused:
        opened(shop, lot, day, reason)
    assert refused.value.pointer == pointer
    assert seen(shop, lot) == (None, None)


def test_whoever_does_not_have_it_says_nothing_of_it(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    other = open_workshop("Mill Bench", coop=shop.coop)
    with pytest.raises(NotFound):
        opened(other, lot, TODAY)
    books = Workshop(shop.coop, replace(shop.actor, role="books"))
    with pytest.raises(Forbidden):
        opened(books, lot, TODAY)


def test_its_days_are_those_of_the_material_when_it_was_opened(
    shop: Workshop, oil: Material
) -> None:
    first, second = shop.receive(oil, "1 kg", "20"), shop.receive(oil, "1 kg", "20")
    opened(shop, first, TODAY)
    shop.does(change_material, material=oil.id, version=None, facts={"use_within_days": None})
    opened(shop, second, TODAY)
    assert seen(shop, first) == (TODAY, after(30))
    assert seen(shop, second) == (TODAY, None)
    shop.does(change_material, material=oil.id, version=None, facts={"use_within_days": 10})
    opened(shop, second, TODAY, "the data sheet came")
    assert seen(shop, second) == (TODAY, after(10))


def test_the_first_weighing_opens_it_and_an_earlier_one_shows_that_it_was_open(
    shop: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg", planned_for=after(9))
    first = shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-05-15"))
    assert first.opened_until == after(39)
    assert seen(shop, lot) == (after(9), after(39))
    again = shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-05-16"))
    assert again.opened_until is None
    earlier = shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-05-08"))
    assert earlier.opened_until == after(32)
    assert seen(shop, lot) == (after(2), after(32))
    with acting_as(shop.actor):
        entries = [one.entry_id for one in openings_of(shop.actor, lot)]
    assert entries == [earlier.weighing.entry_id, first.weighing.entry_id]


def test_where_nothing_is_said_of_a_material_no_draw_opens_its_lots(shop: Workshop) -> None:
    wax = shop.material("Wax")
    lot = shop.receive(wax, "5 kg", "100")
    planned = shop.plan(shop.formula("Balm", [(wax, "100")]), "1 kg")
    assert shop.weigh(planned, 0, lot, "10 g").opened_until is None
    assert seen(shop, lot) == (None, None)


def test_a_sample_opens_it_and_what_is_written_off_does_not(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    for purpose, since in (("write-off", None), ("sample", TODAY)):
        taken = [Taken(lot=lot.id, quantity=parse_quantity("10 g"))]
        shop.does(issue, lines=taken, purpose=purpose, reason="so it is", happened_at=MORNING)
        assert seen(shop, lot)[0] == since


def test_after_its_days_it_is_used_for_a_reason_alone(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100", expires_on=after(60))
    opened(shop, lot, TODAY)
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg", planned_for=TODAY)
    shop.weigh(planned, 0, lot, "10 g", happened_at=on("2025-06-05"))
    late = on("2025-06-06")
    with pytest.raises(LotOpenTooLong) as refused:
        shop.weigh(planned, 0, lot, "10 g", happened_at=late)
    assert refused.value.pointer == "/lot"
    assert str(refused.value) == (
        f"The lot {lot.code} was opened on 2025-05-06 and lasts 30 days then, until 2025-06-05:"
        " choose another, or record a deviation."
    )
    used = shop.weigh(planned, 0, lot, "10 g", happened_at=late, deviation="smells as new")
    assert used.weighing.overrode == ["open_too_long"]
    # Once it has expired as well, that is said; both are kept.
    late = on("2025-07-06")
    with pytest.raises(LotExpired):
        shop.weigh(planned, 0, lot, "10 g", happened_at=late)
    used = shop.weigh(planned, 0, lot, "10 g", happened_at=late, deviation="smells as new")
    assert used.weighing.overrode == ["last_usable_day", "open_too_long"]
    with acting_as(shop.actor):
        custody = Custody.objects.select_related("lot__material").get(lot=lot)
    assert broken_by(custody, after(30)) == []


def test_a_top_up_says_that_a_lot_is_open_too_long_and_not_that_it_has_expired(
    shop: Workshop, oil: Material
) -> None:
    wax = shop.material("Wax")
    shop.receive(wax, "5 kg", "20")
    open_one = shop.receive(oil, "1 kg", "20", expires_on=after(60))
    opened(shop, open_one, TODAY)
    formula = shop.formula("Balm", [(oil, "50"), (wax, "50")])
    for day, refusal in ((61, LotExpired), (31, LotOpenTooLong)):
        planned = shop.plan(formula, "4 kg", planned_for=after(day))
        asked = {"batch": planned.batch.id, "line": planned.lines[0].line.id}
        with pytest.raises((LotExpired, LotOpenTooLong)) as refused:
            shop.does(top_up, **asked, lot=open_one.id)
        assert (type(refused.value), refused.value.pointer) == (refusal, "/lot")
    assert str(refused.value) == (
        f"The lot {open_one.code} was opened on 2025-05-06 and is to be used by 2025-06-05, and the"
        " batch is planned for 2025-06-06: name another lot, or plan the batch anew for an earlier"
        " day."
    )


def test_a_retest_does_not_make_it_last_longer(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "5 kg", "100", retest_on=after(20))
    opened(shop, lot, TODAY)
    facts = {"tested_on": TODAY, "passed": True, "basis": "as new", "retest_on": after(200)}
    shop.does(retest, lot=lot.id, today=TODAY, **facts)
    assert seen(shop, lot) == (TODAY, after(30))


def test_the_open_lot_goes_first_and_not_after_its_days(shop: Workshop, oil: Material) -> None:
    sealed = shop.receive(oil, "1 kg", "20", expires_on=after(60))
    open_one = shop.receive(oil, "1 kg", "20", expires_on=after(90))
    opened(shop, open_one, TODAY)
    formula = shop.formula("Balm", [(oil, "100")])
    for day, lots in ((30, [open_one, sealed]), (31, [sealed])):
        planned = shop.plan(formula, "1.5 kg", planned_for=after(day))
        assert [pick.lot_id for pick in planned.lines[0].picks] == [lot.id for lot in lots]
        why = {"reason": "on another day", "happened_at": MORNING}
        shop.does(cancel_batch, batch=planned.batch.id, **why)


def test_the_position_and_today_know_it(shop: Workshop, oil: Material) -> None:
    lot = shop.receive(oil, "1 kg", "20", expires_on=after(300))
    opened(shop, lot, TODAY)
    for day, usable in ((30, 1000), (31, 0)):
        moment = MORNING + timedelta(days=day)
        (row,) = shop.does(stock, now=moment, materials=[oil.id])
        assert row.usable == usable
    (ending,) = shop.does(today, now=MORNING).expiring
    assert (ending.lot_id, ending.ends) == (lot.id, after(30))
    assert shop.does(today, now=MORNING).retests == []


def test_what_is_made_of_it_lasts_as_the_stuff_does_and_not_as_its_can(
    shop: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "1 kg", "20", expires_on=after(300))
    made = shop.made_lot(shop.formula("Balm", [(oil, "100")], shelf_life_days=365), "500")
    assert made.expires_on == after(300)
    assert made.dates_note == f"By lot {lot.code}, which may be used until {after(300)}."


def test_what_is_drawn_off_is_open_as_the_drum_is(shop: Workshop, oil: Material) -> None:
    sealed, half = shop.receive(oil, "5 kg", "100"), shop.receive(oil, "5 kg", "100")
    opened(shop, half, TODAY)
    for drum, since in ((half, TODAY), (sealed, after(3))):
        draws = [Drawn(net=parse_quantity("1 kg")), Drawn(net=parse_quantity("2 kg"))]
        moment = MORNING + timedelta(days=3)
        done = shop.does(decant, lot=drum.id, draws=draws, happened_at=moment, emptied=False)
        with acting_as(shop.actor):
            lots = [one.lot_id for one in draws_of(done.decanting)]
            rows = Custody.objects.filter(lot__in=lots)
            days = {(one.opened_on, one.use_by) for one in rows}
        assert days == {(since, since + timedelta(days=30))} == {seen(shop, drum)}


def test_a_part_that_moves_to_another_maker_is_open_there(shop: Workshop, oil: Material) -> None:
    other = open_workshop("Mill Bench", coop=shop.coop)
    lot = shop.receive(oil, "5 kg", "100")

    def give() -> None:
        offer = shop.does(
            offer_transfer,
            maker=other.actor.maker,
            lot=lot.id,
            quantity=parse_quantity("1 kg"),
            happened_at=MORNING,
        )
        other.does(
            accept_transfer, transfer=offer.id, happened_at=MORNING, release_basis="as it was"
        )

    give()
    assert seen(other, lot) == (None, None), "sealed as it was"
    opened(shop, lot, after(1))
    give()
    assert seen(other, lot) == (after(1), after(31))
    with acting_as(other.actor):
        (kept,) = openings_of(other.actor, lot)
    assert kept.entry is not None
    assert kept.entry.kind == "transfer_in"
    opened(shop, lot, after(3), "it was later")
    give()
    assert seen(other, lot) == (after(1), after(31)), "what it had is open since then"
