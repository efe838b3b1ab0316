"""A workshop's containers: what is taken from them, said of them, and given on."""

from datetime import date, timedelta
from typing import Final

from ledger.access import acting_as
from ledger.catalogue import change_material
from ledger.decanting import Drawn, decant, draws_of
from ledger.issuing import Taken, issue
from ledger.lots import custody_of
from ledger.models import Lot, Material, Transfer
from ledger.opened_lots import say_opened
from ledger.quantities import parse_quantity
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, TODAY, Workshop

# Since when something is open, and by when it is to be used.
Days = tuple[date | None, date | None]
SEALED: Final[Days] = (None, None)


def after(days: int) -> date:
    """So many days after the first."""
    return TODAY + timedelta(days=days)


def lasts(shop: Workshop, oil: Material, days: int | None) -> None:
    """Say for how many days it is good once it is open."""
    shop.does(change_material, material=oil.id, version=None, facts={"use_within_days": days})


def sampled(
    shop: Workshop, lot: Lot, days: int, purpose: str = "sample", quantity: str = "10 g"
) -> None:
    """Some of a lot is taken so many days after the first."""
    taken = [Taken(lot=lot.id, quantity=parse_quantity(quantity))]
    moment = MORNING + timedelta(days=days)
    shop.does(issue, lines=taken, purpose=purpose, reason="so it is", happened_at=moment)


def told(shop: Workshop, lot: Lot, day: date | None, reason: str = "") -> None:
    """Say when it was opened."""
    shop.does(say_opened, lot=lot.id, opened_on=day, reason=reason)


def seen(shop: Workshop, lot: Lot) -> Days:
    """What is kept of a lot's opening."""
    with acting_as(shop.actor):
        custody = custody_of(shop.actor, lot)
    return custody.opened_on, custody.use_by


def drawn_off(shop: Workshop, drum: Lot, days: int, quantity: str = "1 kg") -> Lot:
    """Fill a can from it, so many days after the first."""
    done = shop.does(
        decant,
        lot=drum.id,
        draws=[Drawn(net=parse_quantity(quantity))],
        happened_at=MORNING + timedelta(days=days),
        emptied=False,
    )
    with acting_as(shop.actor):
        (can,) = draws_of(done.decanting)
        into: Lot = can.lot
    return into


def offered(shop: Workshop, to: Workshop, lot: Lot, quantity: str, days: int = 0) -> Transfer:
    """Offer some to another maker, so many days after the first."""
    amount, moment = parse_quantity(quantity), MORNING + timedelta(days=days)
    what = {"lot": lot.id, "quantity": amount, "happened_at": moment}
    return shop.does(offer_transfer, maker=to.actor.maker, **what)


def accepted(to: Workshop, offer: Transfer) -> None:
    """Take what is offered."""
    when = {"happened_at": offer.happened_at, "release_basis": "as it was"}
    to.does(accept_transfer, transfer=offer.id, **when)


def given(shop: Workshop, to: Workshop, lot: Lot, quantity: str, days: int = 0) -> None:
    """Some goes to another maker, so many days after the first."""
    accepted(to, offered(shop, to, lot, quantity, days))
