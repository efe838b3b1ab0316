"""Lots that makers open to the co-op, and claims on them."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import settlement_examples as examples
from api.rest.catalogue import DensityOut
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    Flag,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    plain,
    shortest,
)
from api.rest.lots import STATUSES
from api.rest.receipts import QuantityOut, UnitCost, quantity_json
from api.rest.stock import amount
from api.rest.transfers import CAUTION, AnswerIn, PartyOut
from ledger import claiming, sharing
from ledger.access import Actor
from ledger.models import Claim, Share
from ledger.money import round_money
from ledger.quantities import priced_per
from ledger.roles import Verb

TERMS = [terms.value for terms in Share.Terms]
STATES = [*(state.value for state in Claim.State), "expired"]


class ShareIn(Body):
    lot = Id()
    quantity = QuantityField(required=False, help_text="Left out: all that is free of it.")
    percent = DecimalText(
        least="0",
        most="1000",
        places=4,
        required=False,
        allow_null=True,
        help_text="At cost and so much more. With neither percent nor price: at cost.",
    )
    price = DecimalText(
        least="0", required=False, allow_null=True, help_text="Of a kilogram, or of a piece."
    )
    accepts_itself = Flag(required=False, help_text="Claims are accepted as they come.")
    happened_at = Moment(required=False, help_text="From when on the goods may move; now.")
    closes_at = Moment(required=False, allow_null=True)
    note = Text(max_length=400, required=False)


class ClaimIn(Body):
    quantity = QuantityField()
    quarantine = Flag(
        required=False,
        help_text="The lot waits in quarantine here. Otherwise what its giver has released arrives"
        " released, where you may release lots.",
    )
    expires_at = Moment(required=False, allow_null=True, help_text="It is open until then.")
    happened_at = Moment(required=False, help_text="Where the share accepts by itself; now.")
    note = Text(max_length=400, required=False)


class ClaimAcceptanceIn(Body):
    happened_at = Moment(required=False)


class PaperOut(serializers.Serializer[Any]):
    id = Id()
    kind = Text()
    name = Text()


class SharedLot(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    material = Id()
    material_name = Text()
    inci_name = Text(allow_blank=True)
    supplier = Id(allow_null=True)
    supplier_lot = Text(allow_blank=True)
    expires_on = serializers.DateField(allow_null=True)
    retest_on = serializers.DateField(allow_null=True)
    opened_on = serializers.DateField(
        allow_null=True,
        help_text="Since when it is open with its giver, as was said or as its draws show; so it"
        " will be with you. Once the share is closed, told to its giver alone.",
    )
    use_by = serializers.DateField(
        allow_null=True,
        help_text="The last day of use since it is open, told as opened_on is; null without days.",
    )
    density = DensityOut(allow_null=True, help_text="The lot's own.")
    status = serializers.ChoiceField(STATUSES, help_text="As it stands with its giver.")
    documents = PaperOut(many=True)


class SharedOut(serializers.Serializer[Any]):
    id = Id()
    giver = PartyOut()
    lot = SharedLot()
    quantity = QuantityOut()
    claimable = Shown(help_text="What can still be claimed, in grams or pieces.")
    terms = serializers.ChoiceField(TERMS)
    percent = Shown(allow_null=True)
    price = UnitCost(allow_null=True, help_text="As it is now, where it follows the cost.")
    accepts_itself = serializers.BooleanField()
    happened_at = Moment()
    closes_at = Moment(allow_null=True)
    closed_at = Moment(allow_null=True)
    note = Text(allow_blank=True)
    reason = Text(allow_blank=True, help_text="Why it was closed.")
    caution = Text()


ClaimOut = type(
    "ClaimOut",
    (serializers.Serializer,),
    {
        "id": Id(),
        "share": Id(),
        # "from" is a word of the language, so it cannot be written as an attribute.
        "from": PartyOut(help_text="The giver."),
        "to": PartyOut(help_text="Who claims it."),
        "incoming": serializers.BooleanField(help_text="Made on a share of yours."),
        "state": serializers.ChoiceField(STATES),
        "lot": SharedLot(),
        "quantity": QuantityOut(),
        "note": Text(allow_blank=True),
        "reason": Text(allow_blank=True),
        "claimed_at": Moment(),
        "expires_at": Moment(allow_null=True),
        "answered_at": Moment(allow_null=True),
        "transfer": Id(allow_null=True, help_text="The move that came of it."),
        "amount": Shown(allow_null=True, help_text="What the receiver owes for it."),
    },
)


class ShareQuery(Paged):
    of = Choice(["own", "others"], required=False)
    material = serializers.UUIDField(required=False)


class ClaimQuery(Paged):
    direction = Choice(["in", "out"], required=False)
    state = Choice(STATES, required=False)


def lot_json(known: sharing.Shown) -> dict[str, Any]:
    share = known.share
    density = known.density and {
        "value": shortest(known.density),
        "at": plain(known.density_at),
        "entered": known.density_entered,
    }
    return {
        "id": str(share.lot_id),
        "code": known.code,
        "material": str(share.material_id),
        "material_name": known.material_name,
        "inci_name": known.inci_name,
        "supplier": known.supplier_id and str(known.supplier_id),
        "supplier_lot": known.supplier_lot,
        "expires_on": known.expires_on,
        "retest_on": known.retest_on,
        "opened_on": known.opened_on,
        "use_by": known.use_by,
        "density": density,
        "status": known.giver_status,
        "documents": known.papers,
    }


def share_json(known: sharing.Shown, actor: Actor) -> dict[str, Any]:
    share, costs = known.share, actor.may(Verb.SEE_COSTS)
    return {
        "id": str(share.id),
        "giver": {"id": str(share.giver_id), "name": known.giver},
        "lot": lot_json(known),
        "quantity": quantity_json(share.entered, share.quantity, known.counted),
        "claimable": amount(known.claimable, known.counted),
        "terms": share.terms,
        "percent": shortest(share.percent) if costs else None,
        "price": {
            "amount": plain(known.price.quantize(Decimal("0.000001"))),
            "per": priced_per(known.counted),
        }
        if costs and known.price is not None
        else None,
        "accepts_itself": share.accepts_itself,
        "happened_at": share.happened_at,
        "closes_at": share.closes_at,
        "closed_at": share.closed_at,
        "note": share.note,
        "reason": share.closed_why,
        "caution": CAUTION,
    }


def claim_json(claim: Claim, known: sharing.Shown, actor: Actor, now: datetime) -> dict[str, Any]:
    owed = claim.transfer.amount if claim.transfer else None
    return {
        "id": str(claim.id),
        "share": str(claim.share_id),
        "from": {"id": str(claim.to_maker_id), "name": known.giver},
        "to": {"id": str(claim.maker_id), "name": claim.maker.name},
        "incoming": claim.to_maker_id == actor.maker_id,
        "state": claiming.state_of(claim, now),
        "lot": lot_json(known),
        "quantity": quantity_json(claim.entered, claim.quantity, known.counted),
        "note": claim.note,
        "reason": claim.reason,
        "claimed_at": claim.claimed_at,
        "expires_at": claim.expires_at,
        "answered_at": claim.answered_at,
        "transfer": claim.transfer_id and str(claim.transfer_id),
        "amount": plain(round_money(owed, actor.currency))
        if owed is not None and actor.may(Verb.SEE_COSTS)
        else None,
    }


def _one(row: Share, actor: Actor) -> dict[str, Any]:
    (known,) = sharing.shown([row])
    return share_json(known, actor)


class Shares(Resource):
    """What makers have opened to the co-op."""

    @reads(ShareQuery, page_of(SharedOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List what is open to the co-op, newest first."""
        own = {"own": True, "others": False}.get(query.get("of", ""))
        rows = sharing.shares_of_coop(actor, now=self.now, own=own, material=query.get("material"))
        found = page(self.request, query, rows, lambda row: row)
        found.body["results"] = [
            share_json(one, actor) for one in sharing.shown(found.body["results"])
        ]
        return found

    @writes(ShareIn, SharedOut, examples=examples.SHARE)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Open a lot, all or a part, to the makers of the co-op; nothing moves until a claim."""
        terms = sharing.Terms(data.pop("percent", None), data.pop("price", None))
        facts = {"happened_at": self.now, **data}
        return _one(sharing.open_share(actor, terms=terms, **facts), actor)


class OneShare(Resource):
    """One share."""

    @reads(None, SharedOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a share: what the lot is, how it stands, its papers, what is left and the price."""
        return _one(sharing.share_for(actor, id), actor)


class ShareClosures(Resource):
    """Closing a share."""

    @writes(AnswerIn, SharedOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Close a share of your own: nothing more is claimed."""
        return _one(sharing.close_share(actor, share=id, now=self.now, **data), actor)


class ShareClaims(Resource):
    """Claiming some of a share."""

    @writes(ClaimIn, ClaimOut, examples=examples.CLAIM)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Claim so much of a share; it moves at once where the share accepts by itself."""
        keeps = not data.pop("quarantine", False)
        facts = {"happened_at": self.now, **data}
        claim = claiming.claim_share(actor, share=id, keeps_status=keeps, **facts)
        return _claim(claim, actor, self.now)


class Claims(Resource):
    """Claims that were made."""

    @reads(ClaimQuery, page_of(ClaimOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List claims on your shares and your own, newest first."""
        way = query.get("direction")
        rows = claiming.claims_of(
            actor,
            now=self.now,
            incoming=None if way is None else way == "in",
            state=query.get("state"),
        )
        found = page(self.request, query, rows, lambda row: row)
        claims: list[Claim] = found.body["results"]
        shares = {claim.share_id: claim.share for claim in claims}
        known = {one.share.id: one for one in sharing.shown(shares.values())}
        found.body["results"] = [
            claim_json(claim, known[claim.share_id], actor, self.now) for claim in claims
        ]
        return found


class OneClaim(Resource):
    """One claim."""

    @reads(None, ClaimOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a claim, and what came of it."""
        return _claim(claiming.claim_for(actor, id), actor, self.now)


class ClaimAcceptances(Resource):
    """Accepting a claim."""

    @writes(ClaimAcceptanceIn, ClaimOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Give what was claimed of your share; the amount is owed to you."""
        happened_at = data.get("happened_at", self.now)
        claim = claiming.accept_claim(actor, claim=id, happened_at=happened_at)
        return _claim(claim, actor, self.now)


class ClaimRefusals(Resource):
    """Declining a claim."""

    @writes(AnswerIn, ClaimOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Decline a claim on your share."""
        return _claim(claiming.decline_claim(actor, claim=id, **data), actor, self.now)


class ClaimWithdrawals(Resource):
    """Withdrawing a claim."""

    @writes(AnswerIn, ClaimOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Withdraw a claim of your own that nobody has accepted."""
        return _claim(claiming.withdraw_claim(actor, claim=id, **data), actor, self.now)


def _claim(claim: Claim, actor: Actor, now: datetime) -> dict[str, Any]:
    (known,) = sharing.shown([claim.share])
    return claim_json(claim, known, actor, now)
