"""The alert of a batch that can't be made: when it opens, what it names, and when it clears."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from formulas import lacking_told, short_batches
from formulas.batches import cancel_batch
from formulas.repicking import reserve_again
from ledger import alert_answers, reviewing
from ledger.alerts import set_watch
from ledger.lots import decide
from ledger.models import Alert, Material
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, D, Workshop
from tests.ledger.bench import work_off


def opened(shop: Workshop, *, open: bool = True) -> list[Alert]:
    found: list[Alert] = shop.does(
        lambda actor: list(
            alert_answers.alerts(actor, open=open, kind="batch_short").order_by("id")
        )
    )
    return found


def review(shop: Workshop, at: datetime = MORNING) -> None:
    shop.does(lambda actor: reviewing.review(actor.coop_id, actor.maker, now=at))


def short_of(alert: Alert) -> dict[str, tuple[str, str | None]]:
    return {one["name"]: (one["quantity"], one["order_by"]) for one in alert.facts["short"]}


def plan(shop: Workshop, oil: Material, batch: str, day: date = TODAY) -> Any:
    version = shop.formula(f"Balm {batch} {day}", [(oil, "100")])
    return shop.plan(version, batch, planned_for=day)


def test_a_plan_that_is_short_is_told_at_once(shop: Workshop) -> None:
    oil = shop.material("Sunflower oil")
    shop.receive(oil, "1 kg", "5.00")
    shop.does(set_watch, material=oil.id, reorder_point=parse_quantity("1 g"), lead_days=10)
    day = TODAY + timedelta(days=21)
    planned = plan(shop, oil, "3 kg", day)
    work_off()
    (alert,) = opened(shop)
    assert alert.subject == planned.batch.id
    assert (alert.facts["code"], alert.facts["planned_for"]) == (
        planned.batch.code,
        day.isoformat(),
    )
    order_by = (TODAY + timedelta(days=11)).isoformat()
    assert short_of(alert) == {"Sunflower oil": ("2000.000000", order_by)}


def test_a_plan_with_all_it_needs_owes_no_look(shop: Workshop) -> None:
    oil = shop.material("Sunflower oil")
    shop.receive(oil, "1 kg", "5.00")
    plan(shop, oil, "1 kg")
    review(shop)
    assert opened(shop) == []


def test_it_clears_when_enough_comes_in(shop: Workshop) -> None:
    oil = shop.material("Sunflower oil")
    planned = plan(shop, oil, "3 kg")
    review(shop)
    assert len(opened(shop)) == 1
    shop.receive(oil, "2999 g", "5.00")
    review(shop)
    assert len(opened(shop)) == 1, "a gram is short still, and that is no news"
    shop.receive(oil, "1 g", "0.01")
    review(shop)
    assert opened(shop) == []
    assert len(opened(shop, open=False)) == 1
    shop.does(reserve_again, batch=planned.batch.id)
    review(shop)
    assert opened(shop) == []


def test_what_is_short_besides_is_news(shop: Workshop) -> None:
    oil, clay = shop.material("Sunflower oil"), shop.material("Kaolin")
    there = shop.receive(clay, "1 kg", "5.00")
    shop.plan(shop.formula("Mask", [(oil, "50"), (clay, "50")]), "1 kg")
    review(shop)
    (first,) = opened(shop)
    assert list(short_of(first)) == ["Sunflower oil"]
    shop.does(decide, lot=there.id, decision="hold", basis="smells")
    review(shop)
    (second,) = opened(shop)
    assert second.id != first.id
    assert list(short_of(second)) == ["Kaolin", "Sunflower oil"]


def test_a_promise_of_a_lot_that_ends_before_the_day_does_not_hold(shop: Workshop) -> None:
    oil = shop.material("Sunflower oil")
    shop.receive(oil, "1 kg", "5.00", expires_on=TODAY + timedelta(days=2))
    planned = plan(shop, oil, "1 kg")
    review(shop)
    assert opened(shop) == []
    # Its day has come and gone, and the lot has ended.
    review(shop, MORNING + timedelta(days=3))
    assert [alert.subject for alert in opened(shop)] == [planned.batch.id]


def test_the_earlier_batch_is_served_first(shop: Workshop) -> None:
    oil = shop.material("Sunflower oil")
    late = plan(shop, oil, "1 kg", TODAY + timedelta(days=5))
    plan(shop, oil, "1 kg", TODAY + timedelta(days=1))
    shop.receive(oil, "1500 g", "5.00")
    review(shop)
    (alert,) = opened(shop)
    assert alert.subject == late.batch.id
    assert short_of(alert) == {"Sunflower oil": ("500.000000", None)}


def test_a_batch_that_is_called_off_is_not_short(shop: Workshop) -> None:
    oil = shop.material("Sunflower oil")
    planned = plan(shop, oil, "1 kg")
    review(shop)
    shop.does(cancel_batch, batch=planned.batch.id, reason="no orders", happened_at=MORNING)
    work_off()
    assert opened(shop) == []


def test_a_message_names_no_more_than_it_can_hold(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(short_batches, "MOST_NAMED", 2)
    lines = [(shop.material(f"Oil {n}"), "25") for n in range(4)]
    shop.plan(shop.formula("Blend", lines), "1 kg")
    review(shop)
    (alert,) = opened(shop)
    assert list(short_of(alert)) == ["Oil 0", "Oil 1"]
    assert alert.facts["more"] == 2


def test_a_batch_behind_many_others_is_told_what_it_lacks(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lacking_told, "MOST", 2)
    oil = shop.material("Sunflower oil")
    days = [TODAY + timedelta(days=number) for number in range(4)]
    planned = [plan(shop, oil, "1 kg", day).batch for day in days]
    shop.receive(oil, "1.5 kg", "5.00")
    for batch, there in zip(planned, (1000, 500, 500, 500), strict=True):
        (lacks,) = shop.does(lacking_told.lacks_of, batch=batch.id)
        assert (lacks.quantity, lacks.there) == (D(1000), D(there))
