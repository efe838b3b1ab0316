"""Two people write the same paper at once: credit notes on one delivery, facts of one container.

With the locks, whoever comes later sees what the first one wrote. The controls take the lock away,
let everybody look before anybody writes, and show what would come of it.
"""

import threading
from collections.abc import Callable
from contextlib import ExitStack
from decimal import Decimal
from typing import Any
from unittest.mock import patch

import pytest

from formulas import containers
from formulas.containers import set_container
from formulas.models import Container
from ledger import billing
from ledger.access import acting_as
from ledger.billing import Wanted, book_bill
from ledger.errors import Invalid, Stale
from ledger.issuing import Taken, issue
from ledger.models import Bill, Material, ReceiptLine
from ledger.quantities import parse_quantity
from tests.factories import MORNING, Workshop, open_workshop
from tests.races.crowd import all_at_once

pytestmark = pytest.mark.usefixtures("database")
PEOPLE = 6


def once_all_are_here(looks: Callable[..., Any]) -> Callable[..., Any]:
    """The same look, after which everybody waits until the others have looked as well."""
    here = threading.Barrier(PEOPLE)

    def look(*args: Any) -> Any:
        seen = looks(*args)
        here.wait(60)
        return seen

    return look


def credit(shop: Workshop, receipt: Any) -> Callable[[], Bill]:
    wanted = Wanted(Bill.Kind.CREDIT_NOTE, Decimal(40))
    return lambda: shop.does(book_bill, receipt=receipt, bill=wanted, happened_at=MORNING)


def credits_at_once() -> tuple[Workshop, list[Any]]:
    """10 kg for $100, all given away; everybody enters a credit note of $40."""
    shop = open_workshop()
    lot = shop.receive(shop.material("Squalane"), "10 kg", "100.00")
    given = [Taken(lot.id, parse_quantity("10 kg"))]
    shop.does(issue, lines=given, purpose="gift", reason="open day", happened_at=MORNING)
    with acting_as(shop.actor):
        receipt = ReceiptLine.objects.get(lot=lot).receipt_id
    return shop, all_at_once([credit(shop, receipt)] * PEOPLE)


def credited(shop: Workshop) -> Decimal:
    with acting_as(shop.actor):
        return sum((bill.amount for bill in Bill.objects.all()), Decimal(0))


def test_no_more_is_credited_than_a_delivery_cost() -> None:
    """Two of $40 are taken; a third would make the goods cost less than nothing."""
    shop, done = credits_at_once()
    refused = [outcome for outcome in done if isinstance(outcome, Exception)]
    assert [type(error) for error in refused] == [Invalid] * (PEOPLE - 2), refused
    assert credited(shop) == -80
    assert shop.disagreements() == []


def test_without_the_lock_more_is_credited_than_it_cost() -> None:
    """The control: everybody sees a delivery without a credit yet."""
    with ExitStack() as stack:
        stack.enter_context(patch.object(billing, "lock_pools", lambda materials: None))
        check = once_all_are_here(billing._check_credit)
        stack.enter_context(patch.object(billing, "_check_credit", check))
        shop, _ = credits_at_once()
    assert credited(shop) < -100


def say(shop: Workshop, bottle: Material, nominal: int) -> Callable[[], Container]:
    return lambda: shop.does(
        set_container,
        material=bottle.id,
        nominal=parse_quantity(f"{nominal} mL"),
        headspace_percent=Decimal(4),
        version=1,
    )


def containers_at_once() -> tuple[Container, list[Any]]:
    """Everybody has read the first version and says another nominal; what stands, and who wrote."""
    shop = open_workshop()
    bottle = shop.material("Bottle", measured_by="count")
    shop.does(
        set_container,
        material=bottle.id,
        nominal=parse_quantity("250 mL"),
        headspace_percent=Decimal(0),
    )
    done = all_at_once([say(shop, bottle, 100 + place) for place in range(PEOPLE)])
    with acting_as(shop.actor):
        return Container.objects.get(material=bottle), done


def test_one_of_those_who_read_the_same_version_writes_the_next() -> None:
    row, done = containers_at_once()
    (wrote,) = [outcome for outcome in done if isinstance(outcome, Container)]
    refused = [outcome for outcome in done if isinstance(outcome, Exception)]
    assert [type(error) for error in refused] == [Stale] * (PEOPLE - 1), refused
    assert (row.version, row.nominal_ml) == (2, wrote.nominal_ml)


def test_without_the_lock_what_others_wrote_is_lost() -> None:
    """The control: everybody is told that it was written, and one of them is right."""

    def unlocked(actor: Any, material: Material) -> Container:
        row = Container.objects.get(maker_id=actor.maker, material=material)
        row.material = material
        return row

    with patch.object(containers, "_locked", _first_alone(unlocked)):
        row, done = containers_at_once()
    assert len([outcome for outcome in done if isinstance(outcome, Container)]) == PEOPLE, done
    assert row.version == 2


def _first_alone(looks: Callable[..., Any]) -> Callable[..., Any]:
    """The one who makes the container is alone; all who come after wait for each other."""
    together, alone = once_all_are_here(looks), iter([looks])

    def look(*args: Any) -> Any:
        return next(alone, together)(*args)

    return look
