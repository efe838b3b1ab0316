"""What a maker answers to a recall with figures of its own is possible, and its gap is told."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from ledger.access import acting_as
from ledger.models import RecallAnswer, RecallNotice
from ledger.quantities import parse_quantity
from ledger.recall_notices import notices_of
from ledger.recall_records import open_recall
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, Workshop, open_workshop
from tests.pages.browsing import done, refused, sent

WHY = {"reason": "weighed again"}


@pytest.fixture(scope="module")
def notice(shop: Workshop) -> RecallNotice:
    """3 kg came from another maker, who calls it back."""
    giver = open_workshop("Mill Bench", coop=shop.coop)
    lot = giver.receive(giver.material("Neem oil"), "5 kg", "9.00")
    about = {"maker": shop.actor.maker, "quantity": parse_quantity("3 kg")}
    offer = giver.does(offer_transfer, lot=lot.id, happened_at=MORNING, **about)
    shop.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
    giver.does(open_recall, lot=lot.id, reason="too warm", happened_at=MORNING)
    found: RecallNotice = shop.does(lambda actor: notices_of(actor, incoming=True).get())
    return found


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        ({"in_reach-grams": "2500", "held-grams": "9000"}, "More is on hold than is within reach"),
        ({"held-grams": "3001"}, "More is on hold than is within reach"),
        ({"returned-grams": "1"}, "More came back than was sold"),
        ({"sold-grams": "0.01"}, "no more than 3\N{NO-BREAK SPACE}kg went there"),
        ({"elsewhere-units": "2"}, "tell it in its own unit"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    client: Client, notice: RecallNotice, figures: dict[str, str], told: str
) -> None:
    assert told in refused(client, f"/recall-notices/{notice.id}", **figures, **WHY)


def test_a_missing_reason_is_asked_for_at_its_field(client: Client, notice: RecallNotice) -> None:
    answer = sent(client, f"/recall-notices/{notice.id}", **{"in_reach-grams": "2500"})
    assert 'id="id_reason_error"><li>Say why your records are not right.' in answer.content.decode()


def test_the_gap_that_is_left_is_told(client: Client, notice: RecallNotice) -> None:
    path = f"/recall-notices/{notice.id}"
    page = done(client, path, **{"in_reach-grams": "2500", "held-grams": "900"}, **WHY)
    assert "not accounted for 500 g" in page
    page = done(client, path, **{"in_reach-grams": "2500", "sold-grams": "500"}, **WHY)
    assert "not accounted for 0 g" in page


def test_what_was_made_of_it_may_be_more(client: Client, notice: RecallNotice) -> None:
    """Two jars of it, with what else went into them."""
    path = f"/recall-notices/{notice.id}"
    figures = {"made-units": "2", "in_reach-units": "2", "sold-grams": "9000"}
    assert "9 kg" in done(client, path, **figures, **WHY)


def test_the_database_refuses_it_as_well(shop: Workshop, notice: RecallNotice) -> None:
    count = {"units": "0", "grams": "0"}
    tally: dict[str, Any] = dict.fromkeys(("in_reach", "held", "sold", "returned"), count)
    about = {"coop_id": shop.coop.id, "maker_id": shop.actor.maker, "notice": notice}
    about |= {"to_maker_id": notice.maker_id, "person_id": shop.actor.person_id}
    for part in ("held", "returned"):
        wrong = {"corrected": {part: {"grams": "1"}}, "tally": tally, "reason": "by hand"}
        with (
            acting_as(shop.actor),
            pytest.raises(IntegrityError, match="answer_adds_up"),
            transaction.atomic(),
        ):
            RecallAnswer.objects.create(**about, **wrong)
