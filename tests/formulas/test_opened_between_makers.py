"""What comes out of an open container is open, also where its material did not say for how long."""

import pytest

from ledger.access import acting_as
from ledger.entries import reverse_entry
from ledger.errors import Invalid, LotOpenTooLong
from ledger.models import Entry, Lot, Material, Share, Transfer
from ledger.opened_lots import openings_of
from ledger.sharing import close_share, open_share, shown
from ledger.transferring import decline_transfer, transfer_for
from ledger.transferring import offered as with_lots
from tests.factories import MORNING, TODAY, Workshop, on, open_workshop
from tests.openings import (
    SEALED,
    Days,
    accepted,
    after,
    drawn_off,
    given,
    lasts,
    offered,
    sampled,
    seen,
    told,
)

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


def offer_shown(maker: Workshop, offer: Transfer) -> Days:
    """What a maker is told of the opening of what is offered."""
    with acting_as(maker.actor):
        (one,) = with_lots([transfer_for(maker.actor, offer.id)])
    return one.opened_on, one.use_by


def share_shown(maker: Workshop, share: Share) -> Days:
    """What a maker is told of the opening of what is shared."""
    with acting_as(maker.actor):
        (one,) = shown([Share.objects.get(id=share.id)])
    return one.opened_on, one.use_by


def test_a_pail_used_up_long_ago_does_not_open_the_sealed_one(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    given(shop, mill, lot, "1 kg")
    sampled(mill, lot, 0, quantity="1 kg")
    lasts(shop, oil, 30)
    given(shop, mill, lot, "1 kg", days=50)
    assert seen(mill, lot) == SEALED
    planned = mill.plan(mill.formula("Balm", [(oil, "100")]), "100 g", planned_for=after(60))
    poured = mill.weigh(planned, 0, lot, "10 g", happened_at=on("2025-07-05"))
    assert poured.opened_until == after(90)
    assert mill.disagreements() == shop.disagreements() == []


def test_what_is_drawn_of_the_sealed_one_counts_again(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    given(shop, mill, lot, "1 kg")
    sampled(mill, lot, 0, quantity="1 kg")
    given(shop, mill, lot, "1 kg", days=5)
    sampled(mill, lot, 8)
    lasts(shop, oil, 30)
    assert seen(mill, lot) == (after(8), after(38))


@pytest.mark.parametrize("days", [None, 30])
def test_what_was_drawn_before_it_had_days_goes_to_others_as_open(
    shop: Workshop, mill: Workshop, oil: Material, days: int | None
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    sampled(shop, lot, 2)
    offer = offered(shop, mill, lot, "1 kg", days=5)
    share = shop.does(open_share, lot=lot.id, happened_at=MORNING)
    if days:
        lasts(shop, oil, days)
    open_so: Days = (after(2), after(2 + days) if days else None)
    for maker in (shop, mill):
        assert offer_shown(maker, offer) == share_shown(maker, share) == open_so
    accepted(mill, offer)
    assert seen(mill, lot) == open_so
    lasts(shop, oil, 30)
    assert seen(mill, lot) == (after(2), after(32))
    assert mill.disagreements() == shop.disagreements() == []


def test_of_two_open_ones_the_first_opened_counts(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    given(shop, mill, lot, "1 kg")
    sampled(mill, lot, 3)
    sampled(shop, lot, 5)
    given(shop, mill, lot, "1 kg", days=6)
    assert seen(mill, lot) == SEALED, "its own draws show that it is open for longer"
    sampled(shop, lot, 1)
    given(shop, mill, lot, "1 kg", days=6)
    assert seen(mill, lot) == (after(1), None)
    lasts(shop, oil, 30)
    assert seen(mill, lot) == (after(1), after(31))


def test_a_can_is_open_since_its_drum_is(shop: Workshop, oil: Material) -> None:
    sealed, half = shop.receive(oil, "5 kg", "100"), shop.receive(oil, "5 kg", "100")
    sampled(shop, half, 1)
    first, second = drawn_off(shop, sealed, 6), drawn_off(shop, half, 6)
    assert (seen(shop, first), seen(shop, second)) == (SEALED, (after(1), None))
    lasts(shop, oil, 30)
    assert [seen(shop, can) for can in (first, second)] == [
        (after(6), after(36)),
        (after(1), after(31)),
    ]
    assert shop.disagreements() == []


def test_a_can_for_another_maker_is_open_there(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    drum = shop.receive(oil, "5 kg", "100")
    sampled(shop, drum, 1)
    can = drawn_off(shop, drum, 6)
    offer = offered(shop, mill, can, "1 kg", days=7)
    assert offer_shown(mill, offer) == (after(1), None)
    accepted(mill, offer)
    lasts(shop, oil, 30)
    assert seen(mill, can) == (after(1), after(31))


def test_its_giver_may_say_that_it_is_another_container(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    with pytest.raises(Invalid, match="Nobody has opened it"):
        told(shop, lot, None, "it is sealed")
    sampled(shop, lot, 1)
    with pytest.raises(Invalid, match="Say why"):
        told(shop, lot, None)
    told(shop, lot, None, "the can that goes to the mill is sealed")
    given(shop, mill, lot, "1 kg", days=2)
    lasts(shop, oil, 30)
    assert seen(mill, lot) == SEALED


def test_a_draw_that_was_taken_back_opened_nothing_for_others(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    sampled(shop, lot, 1)
    undone = {"reason": "another lot", "happened_at": on("2025-05-08")}
    with acting_as(shop.actor):
        slip = Entry.objects.get(maker_id=shop.actor.maker, kind=Entry.Kind.ISSUE)
    shop.does(reverse_entry, entry=slip.id, **undone)
    given(shop, mill, lot, "1 kg", days=3)
    with acting_as(mill.actor):
        assert list(openings_of(mill.actor, lot)) == []


def test_what_is_open_is_refused_there_once_it_is_too_old(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lot = shop.receive(oil, "5 kg", "100")
    sampled(shop, lot, 0)
    given(shop, mill, lot, "1 kg", days=1)
    lasts(mill, oil, 30)
    planned = mill.plan(mill.formula("Balm", [(oil, "100")]), "100 g", planned_for=TODAY)
    with pytest.raises(LotOpenTooLong, match="2025-05-06"):
        mill.weigh(planned, 0, lot, "10 g", happened_at=on("2025-06-06"))


def answered(shop: Workshop, mill: Workshop, lot: Lot, answer: str) -> Transfer:
    """An offer that its receiver answered."""
    offer = offered(shop, mill, lot, "1 kg")
    if answer == "accepted":
        accepted(mill, offer)
    else:
        mill.does(decline_transfer, transfer=offer.id, reason="no room")
    return offer


@pytest.mark.parametrize("answer", ["accepted", "declined"])
def test_of_what_is_opened_after_the_answer_only_its_giver_is_told(
    shop: Workshop, mill: Workshop, oil: Material, answer: str
) -> None:
    lasts(shop, oil, 30)
    lot = shop.receive(oil, "5 kg", "100")
    offer = answered(shop, mill, lot, answer)
    sampled(shop, lot, 2)
    assert offer_shown(shop, offer) == (after(2), after(32))
    assert offer_shown(mill, offer) == SEALED


def test_of_what_is_opened_after_a_share_is_closed_only_its_giver_is_told(
    shop: Workshop, mill: Workshop, oil: Material
) -> None:
    lasts(shop, oil, 30)
    lot = shop.receive(oil, "5 kg", "100")
    share = shop.does(open_share, lot=lot.id, happened_at=MORNING)
    sampled(shop, lot, 2)
    assert share_shown(mill, share) == (after(2), after(32))
    shop.does(close_share, share=share.id, reason="kept after all", now=MORNING)
    assert share_shown(shop, share) == (after(2), after(32))
    assert share_shown(mill, share) == SEALED
    over = shop.does(open_share, lot=lot.id, happened_at=MORNING, closes_at=on("2025-05-07"))
    assert share_shown(mill, over) == SEALED
