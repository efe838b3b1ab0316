"""Claims: a maker claims some of a share; once that is accepted, the goods move.

The giver accepts, or has said that a claim is accepted as it comes. What moves is a move between
makers like any other (ledger/sql/between_makers.sql): the lot stays what it is, with its dates and
its papers; the value moves at the agreed price.
"""

from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import Q, QuerySet

from ledger.access import Actor, find
from ledger.amounts import Amount
from ledger.entries import explained
from ledger.errors import (
    Forbidden,
    Invalid,
    NotEnough,
    Sentence,
    placed,
)
from ledger.ids import new_id
from ledger.measuring import Measured, measure
from ledger.models import Claim, Material
from ledger.money import minor_units
from ledger.quantities import Density, Quantity
from ledger.roles import Verb
from ledger.sharing import Shown, share_for, shown
from ledger.statements import run
from ledger.transferring import accounts_between

_ACCEPT: Final = """
select ledger_accept_claim(%s, %s, %s, %s, %s, %s, %s, %s::uuid[], %s::uuid[])
"""


def claim_share(
    actor: Actor,
    *,
    share: UUID | str,
    quantity: Quantity,
    happened_at: datetime,
    keeps_status: bool = True,
    expires_at: datetime | None = None,
    note: str = "",
) -> Claim:
    """Claim so much of another maker's share; it is accepted at once where the share says so.

    With `keeps_status` a lot that the giver has released arrives released, if the claimer is one
    who may release lots; otherwise it waits in quarantine. Raises NotFound, Conflict for a share
    that is closed, NotEnough telling what is left, Forbidden, Invalid.
    """
    actor.must(Verb.TRANSFER)
    found = share_for(actor, share)
    if found.giver_id == actor.maker:
        raise Forbidden("This share is your own: use the lot, or close the share.")
    if expires_at is not None and expires_at <= happened_at:
        late = "They could not say yes any more: give a later moment."
        raise Invalid(late, pointer="/expires_at")
    (known,) = shown([found])
    amount = _measure(actor, known, quantity)
    with explained():
        claim = Claim.objects.create(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            to_maker_id=found.giver_id,
            share=found,
            entered=amount.entered,
            quantity=amount.quantity,
            keeps_status=keeps_status and actor.may(Verb.DECIDE),
            note=note,
            expires_at=expires_at,
            person_id=actor.person_id,
        )
    if found.accepts_itself:
        with placed("/quantity", NotEnough):
            _accept(actor, claim, happened_at)
    elif amount.quantity > known.claimable:
        only = Sentence(
            "Only {left} of the lot {code} is left to give; ask for no more than that.",
            left=Amount(known.claimable, known.counted).rounded_down(),
            code=known.code,
        )
        raise NotEnough(only, pointer="/quantity", left=f"{known.claimable:f}")
    return claim_for(actor, claim.id)


def accept_claim(actor: Actor, *, claim: UUID | str, happened_at: datetime) -> Claim:
    """Accept a claim on a share of one's own: the goods move.

    Raises NotFound, Forbidden, Conflict where it is answered or expired, NotEnough saying what is
    left and which batches hold the rest, LotNotReleased.
    """
    actor.must(Verb.TRANSFER)
    found = claim_for(actor, claim)
    if found.to_maker_id != actor.maker:
        raise Forbidden("Whoever opened the share accepts this claim.")
    _accept(actor, found, happened_at)
    return claim_for(actor, found.id)


def decline_claim(actor: Actor, *, claim: UUID | str, reason: str) -> Claim:
    """Decline a claim on a share of one's own. Raises NotFound, Conflict where it is answered."""
    return _close(actor, claim, reason, by_giver=True)


def withdraw_claim(actor: Actor, *, claim: UUID | str, reason: str) -> Claim:
    """Withdraw a claim of one's own. Raises NotFound, Conflict where it is answered."""
    return _close(actor, claim, reason, by_giver=False)


def claims_of(
    actor: Actor, *, now: datetime, incoming: bool | None = None, state: str | None = None
) -> "QuerySet[Claim]":
    """The claims on one's own shares (`incoming` true), those one made (false), or both."""
    actor.must(Verb.READ)
    had, made = Q(to_maker_id=actor.maker), Q(maker_id=actor.maker)
    rows = Claim.objects.filter({None: made | had, True: had, False: made}[incoming])
    rows = rows.select_related("share", "maker", "transfer")
    if state is None:
        return rows
    expired = Q(state=Claim.State.OPEN, expires_at__lte=now)
    if state == "expired":
        return rows.filter(expired)
    return rows.filter(state=state).exclude(expired)


def claim_for(actor: Actor, id: UUID | str) -> Claim:
    """A claim that one made, or that was made on a share of one's own. Raises NotFound."""
    actor.must(Verb.READ)
    own = Q(maker_id=actor.maker) | Q(to_maker_id=actor.maker)
    return find(Claim.objects.filter(own).select_related("share", "maker", "transfer"), id)


def state_of(claim: Claim, now: datetime) -> str:
    """How a claim stands: open, accepted, declined, withdrawn or expired."""
    is_over = claim.expires_at is not None and claim.expires_at <= now
    return "expired" if claim.state == Claim.State.OPEN and is_over else claim.state


def _accept(actor: Actor, claim: Claim, happened_at: datetime) -> None:
    giver, receiver = accounts_between(claim.to_maker_id, claim.maker_id)
    with explained():
        run(
            _ACCEPT,
            [
                *(claim.id, new_id(), happened_at, actor.person_id, minor_units(actor.currency)),
                *(new_id(), new_id(), giver, receiver),
            ],
        )


def _close(actor: Actor, claim: UUID | str, reason: str, *, by_giver: bool) -> Claim:
    actor.must(Verb.TRANSFER)
    found = claim_for(actor, claim)
    if (found.to_maker_id == actor.maker) is not by_giver:
        raise Invalid("Withdraw your own claim, and decline one on your share.")
    with explained(), connection.cursor() as cursor:
        cursor.execute("select ledger_close_claim(%s, %s)", [found.id, reason])
    return claim_for(actor, found.id)


def _measure(actor: Actor, known: Shown, quantity: Quantity) -> Measured:
    """The quantity of a lot that the claimer does not have yet, by what the share tells of it."""
    material = Material.objects.get(coop_id=actor.coop_id, id=known.share.material_id)
    density = None
    if known.density is not None:
        density = Density(known.density, known.density_at, known.density_entered)
    with placed("/quantity"):
        return measure(quantity, material, density)
