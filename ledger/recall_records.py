"""A recall as a record: opened, buyers told and heard, closed. Facts with their days, only added.

21 CFR 7.49 asks for a prompt notice to each direct account, and 7.42(b)(3) for effectiveness
checks: whether everybody who is to know does, and has acted.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db.models import QuerySet

from ledger.access import Actor, find, lot_for
from ledger.amounts import Amount
from ledger.errors import (
    Invalid,
    NotEnough,
    Sentence,
    placed,
)
from ledger.measuring import density_of, measure
from ledger.models import Lot, Recall, RecallClosure, RecallContact
from ledger.quantities import Quantity
from ledger.recall_buyers import Buyer, Said, buyers_of
from ledger.recall_notices import Answered, answers_to, send_notices
from ledger.recall_snapshots import as_facts, tally_of
from ledger.recall_tallies import Count, Tally, together
from ledger.recalling import RecallList, list_from, recall_list
from ledger.roles import Verb
from ledger.stopping import stop_through


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a recall has come: here, with each buyer, and with the other makers.

    `contacts` are all that were kept, the earliest first.
    """

    listed: RecallList
    tally: Tally
    contacts: Sequence[RecallContact]
    buyers: Sequence[Buyer]
    makers: Sequence[Answered]

    @property
    def together(self) -> dict[str, Count]:
        """What all makers have said, summed."""
        answers = (one.tally for one in self.makers if one.counts and one.tally is not None)
        return together([self.tally, *answers])


def open_recall(
    actor: Actor,
    *,
    lot: UUID | str,
    reason: str,
    happened_at: datetime,
    depth: str = "",
    classification: str = "",
) -> Recall:
    """Recall a lot: hold it and what was made of it, keep where all of it is, tell other makers.

    Raises NotFound, and Conflict while the lot is being recalled already.
    """
    actor.must(Verb.DECIDE)
    if not reason.strip():
        raise Invalid("Say why the lot is recalled.", pointer="/reason")
    with placed("/lot"):
        found = lot_for(actor, lot)
    decided = stop_through(actor, lot=found.id, basis=f"recalled: {reason}"[:400])
    listed = recall_list(actor, lot=found.id, since=happened_at)
    recall = Recall.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot=found,
        reason=reason,
        depth=depth,
        classification=classification,
        listed=as_facts(listed),
        decision=decided.decision,
        happened_at=happened_at,
        person_id=actor.person_id,
    )
    send_notices(
        actor,
        root=found.id,
        lots=[one.id for one in listed.lots],
        reason=reason,
        happened_at=happened_at,
        recall=recall,
    )
    return recall


def recalls_of(actor: Actor, *, lot: UUID | str | None = None) -> "QuerySet[Recall]":
    """The maker's recalls with their lots."""
    actor.must(Verb.READ)
    rows = Recall.objects.select_related("lot__material", "person").filter(maker_id=actor.maker)
    return rows if lot is None else rows.filter(lot_id=lot)


def recall_for(actor: Actor, id: UUID | str) -> Recall:
    """One of the maker's recalls. Raises NotFound."""
    return find(recalls_of(actor), id)


def closures_of(recalls: Iterable[Recall]) -> dict[UUID, RecallClosure]:
    """How those of the recalls that are closed were closed, in one query."""
    rows = RecallClosure.objects.filter(recall__in=[recall.id for recall in recalls])
    return {row.recall_id: row for row in rows}


def contacts_of(actor: Actor, recall: UUID | str) -> "QuerySet[RecallContact]":
    """Who was told of a recall and what they said. Raises NotFound."""
    return _contacts_of(recall_for(actor, recall))


def progress_of(actor: Actor, recall: Recall) -> Progress:
    """How far a recall has come by now, in so many queries whatever its size."""
    listed = list_from(actor, recall.lot_id, recall.happened_at)
    contacts = list(_contacts_of(recall).order_by("id"))
    buyers = buyers_of(listed, [Said.of(row) for row in contacts])
    return Progress(listed, tally_of(listed), contacts, buyers, answers_to(actor, recall))


def contact_buyer(
    actor: Actor,
    *,
    recall: UUID | str,
    customer: str,
    how: str,
    on: date,
    today: date,
    answered: bool,
    lot: UUID | str | None = None,
    outcome: str = "",
    quantity: Quantity | None = None,
    note: str = "",
) -> RecallContact:
    """Keep that a buyer was told, and what became of the goods where the buyer has said so.

    What comes back is a customer return; `outcome` is for what never will. Raises NotFound,
    Conflict for a closed recall, Invalid for somebody who had none of it, NotEnough for more than
    the buyer has left.
    """
    actor.must(Verb.HEAR)
    found = recall_for(actor, recall)
    of = None if lot is None else lot_for(actor, lot, pointer="/lot")
    if on > today:
        raise Invalid("This day lies in the future; give the day of the contact.", pointer="/on")
    buyers = {buyer.customer: buyer for buyer in progress_of(actor, found).buyers}
    if customer not in buyers:
        raise Invalid(
            "Nobody of that reference was sold or sent any of it; GET the recall names who was.",
            pointer="/customer_reference",
        )
    entered, amount = _outcome(buyers[customer], of, outcome, quantity)
    if outcome and not answered:
        raise Invalid("Who told an outcome has answered.", pointer="/answered")
    kept = RecallContact.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        recall=found,
        customer=customer,
        how=how,
        contacted_on=on,
        answered=answered,
        lot=of,
        outcome=outcome,
        entered=entered,
        quantity=amount,
        note=note,
        person_id=actor.person_id,
    )
    return find(contacts_of(actor, found.id), kept.id)


def close_recall(
    actor: Actor, *, recall: UUID | str, reason: str, happened_at: datetime
) -> RecallClosure:
    """Close a recall, and say why it is done. Raises NotFound, Conflict when it is closed."""
    actor.must(Verb.DECIDE)
    found = recall_for(actor, recall)
    if happened_at < found.happened_at:
        raise Invalid("A recall ends after it began.", pointer="/happened_at")
    return RecallClosure.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        recall=found,
        reason=reason,
        happened_at=happened_at,
        person_id=actor.person_id,
    )


def _contacts_of(recall: Recall) -> "QuerySet[RecallContact]":
    return RecallContact.objects.select_related("lot__material", "person").filter(recall=recall)


def _outcome(
    buyer: Buyer, lot: Lot | None, outcome: str, quantity: Quantity | None
) -> tuple[str, Decimal | None]:
    """What was typed and the grams or pieces of it, of what the buyer still has; or nothing."""
    if lot is None and outcome == "" and quantity is None:
        return "", None
    if lot is None or outcome == "" or quantity is None:
        raise Invalid("An outcome has its lot and its quantity.", pointer="/outcome")
    with placed("/quantity"):
        amount = measure(quantity, lot.material, density_of(lot))
    left = sum((line.left for line in buyer.lines if line.lot_id == lot.id), Decimal(0))
    if amount.quantity > left:
        raise NotEnough(
            Sentence(
                "{customer} has only {left} of the lot {code} left; book what else was"
                " sold there first.",
                customer=buyer.customer,
                left=Amount(left, amount.counted).rounded_down(),
                code=lot.code,
            ),
            pointer="/quantity",
            left=f"{left:f}",
        )
    return amount.entered, amount.quantity
