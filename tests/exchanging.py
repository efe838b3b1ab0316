"""What two makers of a co-op have between them, done by the verbs of both."""

from dataclasses import replace

from ledger.access import acting_as
from ledger.claiming import accept_claim, claim_share
from ledger.coop_clearing import clear_coop
from ledger.issuing import Taken, sell
from ledger.quantities import parse_quantity
from ledger.recall_notices import answer_notice, notices_of
from ledger.recall_records import close_recall, contact_buyer, open_recall
from ledger.settling import dispute, record_payment
from ledger.sharing import open_share
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop


def recalled(giver: Workshop, taker: Workshop) -> None:
    """A lot of which the other maker has some is recalled, and the notice answered."""
    lot = giver.receive(giver.material("Shea butter"), "1 kg", "9.00")
    offer = giver.does(
        offer_transfer,
        maker=taker.actor.maker,
        lot=lot.id,
        quantity=parse_quantity("100 g"),
        happened_at=MORNING,
    )
    taker.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
    sold = [Taken(lot.id, parse_quantity("10 g"))]
    giver.does(sell, lines=sold, customer="market stall 4", happened_at=MORNING)
    recall = giver.does(open_recall, lot=lot.id, reason="mould", happened_at=MORNING)
    giver.does(
        contact_buyer,
        recall=recall.id,
        customer="market stall 4",
        how="phone",
        on=TODAY,
        today=TODAY,
        answered=True,
    )
    giver.does(close_recall, recall=recall.id, reason="all have answered", happened_at=MORNING)
    (notice,) = taker.does(lambda actor: list(notices_of(actor, incoming=True)))
    taker.does(answer_notice, notice=notice.id, hold=True)


def shared(giver: Workshop, taker: Workshop) -> None:
    """A lot opened to the co-op, of which the other maker claims some."""
    lot = giver.receive(giver.material("Cocoa butter"), "1 kg", "9.00")
    share = giver.does(
        open_share, lot=lot.id, quantity=parse_quantity("500 g"), happened_at=MORNING
    )
    claim = taker.does(
        claim_share, share=share.id, quantity=parse_quantity("100 g"), happened_at=MORNING
    )
    giver.does(accept_claim, claim=claim.id, happened_at=MORNING)


def settled(one: Workshop, other: Workshop) -> None:
    """A payment that is disputed, and a clearing of the rest."""
    paid = one.does(
        record_payment,
        maker=other.actor.maker,
        amount=D(2),
        paid=True,
        happened_at=MORNING,
        note="cash",
    )
    one.does(dispute, movement=paid.id, reason="it was three")
    third = open_workshop("Third Bench", coop=one.coop)
    for payer, payee in ((one, third), (third, other)):
        payer.does(
            record_payment,
            maker=payee.actor.maker,
            amount=D(5),
            paid=True,
            happened_at=MORNING,
            note="cash",
        )
    coordinator = replace(one.actor, maker_id=None, role="coordinator")
    with acting_as(coordinator):
        clear_coop(coordinator, happened_at=MORNING)
