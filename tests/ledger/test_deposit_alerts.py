"""A deposit that stays with its supplier for too long is told, until it comes back."""

from datetime import timedelta

import pytest

from ledger import alert_answers, reviewing
from ledger.access import acting_as
from ledger.alert_settings import Choices, choose
from ledger.catalogue import add_supplier
from ledger.deposits import pay_deposit, return_deposit
from ledger.models import Alert
from tests.factories import D, Workshop, open_workshop
from tests.ledger.bench import now

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shop() -> Workshop:
    return open_workshop("North Bench")


def told(shop: Workshop) -> list[Alert]:
    with acting_as(shop.actor):
        reviewing.review(shop.actor.coop_id, shop.actor.maker, now=now())
        return list(alert_answers.alerts(shop.actor, open=True, kind="deposit_unclaimed"))


def test_until_it_comes_back(shop: Workshop) -> None:
    supplier = shop.does(add_supplier, name="Drums and oils")
    paid = {"supplier": supplier.id, "amount": D("25.00")}
    old = shop.does(pay_deposit, **paid, happened_at=now() - timedelta(days=60))
    shop.does(pay_deposit, **paid, happened_at=now() - timedelta(days=59))
    (alert,) = told(shop)
    assert (alert.subject, alert.facts["supplier"]) == (old.id, "Drums and oils")
    assert (alert.facts["amount"], alert.facts["came_in"]) == ("25.00", "")
    assert [one.id for one in told(shop)] == [alert.id], "told once"
    shop.does(choose, Choices(deposit_days=59))
    assert len(told(shop)) == 2
    shop.does(return_deposit, deposit=old.id, happened_at=now())
    assert [one.subject for one in told(shop)] != [old.id]
    shop.does(choose, Choices(deposit_days=61))
    assert told(shop) == []
