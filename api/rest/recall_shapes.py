"""How recalls, notices and tallies look in an answer."""

from typing import Any

from rest_framework import serializers

from api.rest.fields import Id, Moment, Shown, Text, plain
from api.rest.recalls import SHRINK_ACCOUNTED, RecallListOut, list_json
from api.rest.stock import amount
from ledger.models import Recall, RecallAnswer, RecallClosure, RecallContact, RecallNotice
from ledger.quantities import kept_in
from ledger.recall_buyers import Buyer, Sales, sales_of
from ledger.recall_notices import Answered, tally_told
from ledger.recall_records import Progress
from ledger.recall_snapshots import from_facts
from ledger.recall_tallies import COUNTS, Count, Tally, percent_back

DEPTHS = Recall.Depth.values
CLASSIFICATIONS = Recall.Classification.values
WAYS = RecallContact.How.values
OUTCOMES = RecallContact.Outcome.values


class RecallCountOut(serializers.Serializer[Any]):
    units = Shown()
    grams = Shown()


class TallyOut(serializers.Serializer[Any]):
    received = Shown(help_text="Of the recalled lot itself, in its own unit.")
    accounted = Shown()
    unexplained = Shown()
    shrink_accounted = serializers.BooleanField(
        help_text=f"{SHRINK_ACCOUNTED} Here it is, too, where nothing had shrunk."
    )
    makings = serializers.IntegerField(help_text="How often it was made into something.")
    made = RecallCountOut()
    in_reach = RecallCountOut()
    held = RecallCountOut(help_text="What of it is on hold or rejected.")
    sold = RecallCountOut()
    returned = RecallCountOut()
    passed_on = RecallCountOut(help_text="What went to other makers.")
    elsewhere = RecallCountOut(help_text="Samples, testers, what was retained or lost.")


class RecallBrief(serializers.Serializer[Any]):
    id = Id()
    lot = Id()
    code = Text()
    material_name = Text()
    supplier_lot = Text(allow_blank=True)
    reason = Text()
    depth = serializers.ChoiceField(DEPTHS, allow_null=True)
    classification = serializers.ChoiceField(CLASSIFICATIONS, allow_null=True)
    state = serializers.ChoiceField(["open", "closed"])
    happened_at = Moment()
    opened_at = Moment()
    person = Id()


class RecallClosureOut(serializers.Serializer[Any]):
    reason = Text()
    happened_at = Moment()
    person = Id()


class RecallSaleOut(serializers.Serializer[Any]):
    unit = serializers.ChoiceField(["each", "g"])
    sold = Shown(help_text="What was with buyers when the recall began.")
    returned = Shown()
    destroyed = Shown()
    used_up = Shown()
    left = Shown(help_text="What they have for all that is known.")
    percent_back = Shown(allow_null=True)


class BuyerLineOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    unit = serializers.ChoiceField(["each", "g"])
    sold = Shown()
    returned = Shown()
    destroyed = Shown()
    used_up = Shown()
    left = Shown()


class BuyerOut(serializers.Serializer[Any]):
    customer_reference = Text(allow_blank=True)
    lines = BuyerLineOut(many=True)
    at_shop = RecallCountOut(help_text="On consignment there.")
    contacts = serializers.IntegerField()
    last_contact_on = serializers.DateField(allow_null=True)
    answered = serializers.BooleanField()


class RecallMakerOut(serializers.Serializer[Any]):
    notice = Id()
    maker = Id(allow_null=True, help_text="null: told by a maker that passed it on.")
    lot = Id()
    quantity = Shown(help_text="How much of the lot went there.")
    sent_at = Moment()
    answered_at = Moment(allow_null=True)
    held = serializers.BooleanField()
    tally = TallyOut(allow_null=True)
    reason = Text(allow_blank=True, help_text="Why the records were corrected.")
    counts = serializers.BooleanField(help_text="Whether it is in the sum of all makers.")


class RecallSumOut(serializers.Serializer[Any]):
    made = RecallCountOut()
    in_reach = RecallCountOut()
    held = RecallCountOut()
    sold = RecallCountOut()
    returned = RecallCountOut()
    elsewhere = RecallCountOut()
    percent_back = Shown(allow_null=True, help_text="Of the units that were sold.")


class BuyersToldOut(serializers.Serializer[Any]):
    known = serializers.IntegerField()
    contacted = serializers.IntegerField()
    answered = serializers.IntegerField()


class RecallProgressOut(serializers.Serializer[Any]):
    tally = TallyOut(help_text="What your own records say now.")
    sales = RecallSaleOut(many=True)
    told = BuyersToldOut()
    buyers = BuyerOut(many=True)
    makers = RecallMakerOut(many=True)
    all_makers = RecallSumOut(help_text="Your own tally and what the others have answered.")


class RecallOut(RecallBrief):
    closure = RecallClosureOut(allow_null=True)
    listed = RecallListOut(help_text="The recall list as it was when the recall was opened.")
    progress = RecallProgressOut()


class RecallContactRow(serializers.Serializer[Any]):
    id = Id()
    customer_reference = Text()
    how = serializers.ChoiceField(WAYS)
    on = serializers.DateField()
    answered = serializers.BooleanField()
    lot = Id(allow_null=True)
    outcome = serializers.ChoiceField(OUTCOMES, allow_null=True)
    quantity = Shown(allow_null=True, help_text="Grams, or pieces of what is counted.")
    entered = Text(allow_blank=True)
    note = Text(allow_blank=True)
    person = Id()
    recorded_at = Moment()


class NoticePartyOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()


class NoticeLotOut(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    material_name = Text()
    supplier_lot = Text(allow_blank=True)


class NoticeAnswerOut(serializers.Serializer[Any]):
    answered_at = Moment()
    held = serializers.BooleanField()
    tally = TallyOut()
    corrected = serializers.ListField(
        child=serializers.ChoiceField(COUNTS), help_text="What is not as the records say."
    )
    reason = Text(allow_blank=True)


NoticeOut = type(
    "NoticeOut",
    (serializers.Serializer,),
    {
        "id": Id(),
        # "from" is a word of the language, so it cannot be written as an attribute.
        "from": NoticePartyOut(),
        "to": NoticePartyOut(),
        "incoming": serializers.BooleanField(),
        "lot": NoticeLotOut(),
        "unit": serializers.ChoiceField(["each", "g"]),
        "quantity": Shown(help_text="How much of the lot went from the one to the other."),
        "reason": Text(),
        "happened_at": Moment(),
        "sent_at": Moment(),
        "answer": NoticeAnswerOut(allow_null=True),
    },
)


def count_json(count: Count) -> dict[str, Any]:
    return {"units": amount(count.units, True), "grams": plain(count.grams)}


def tally_json(tally: Tally) -> dict[str, Any]:
    return {
        "received": plain(tally.received),
        "accounted": plain(tally.accounted),
        "unexplained": plain(tally.unexplained),
        "shrink_accounted": tally.shrink_accounted,
        "makings": tally.makings,
        **{name: count_json(getattr(tally, name)) for name in COUNTS},
    }


def brief_json(recall: Recall, closure: RecallClosure | None) -> dict[str, Any]:
    return {
        "id": str(recall.id),
        "lot": str(recall.lot_id),
        "code": recall.lot.code,
        "material_name": recall.lot.material.name,
        "supplier_lot": recall.lot.supplier_lot,
        "reason": recall.reason,
        "depth": recall.depth or None,
        "classification": recall.classification or None,
        "state": "open" if closure is None else "closed",
        "happened_at": recall.happened_at,
        "opened_at": recall.opened_at,
        "person": str(recall.person_id),
    }


def recall_json(
    recall: Recall, closure: RecallClosure | None, progress: Progress
) -> dict[str, Any]:
    return {
        **brief_json(recall, closure),
        "closure": closure and closure_json(closure),
        "listed": list_json(from_facts(recall.listed)),
        "progress": _progress(progress),
    }


def closure_json(row: RecallClosure) -> dict[str, Any]:
    return {"reason": row.reason, "happened_at": row.happened_at, "person": str(row.person_id)}


def contact_json(row: RecallContact) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "customer_reference": row.customer,
        "how": row.how,
        "on": row.contacted_on,
        "answered": row.answered,
        "lot": row.lot_id and str(row.lot_id),
        "outcome": row.outcome or None,
        "quantity": row.lot and amount(row.quantity, row.lot.material.counted),
        "entered": row.entered,
        "note": row.note,
        "person": str(row.person_id),
        "recorded_at": row.recorded_at,
    }


def notice_json(row: RecallNotice, answer: RecallAnswer | None, maker: Any) -> dict[str, Any]:
    lot = row.lot
    return {
        "id": str(row.id),
        "from": {"id": str(row.maker_id), "name": row.maker.name},
        "to": {"id": str(row.to_maker_id), "name": row.to_maker.name},
        "incoming": row.to_maker_id == maker,
        "lot": {
            "id": str(lot.id),
            "code": lot.code,
            "material_name": lot.material.name,
            "supplier_lot": lot.supplier_lot,
        },
        "unit": kept_in(lot.material.counted),
        "quantity": amount(row.quantity, lot.material.counted),
        "reason": row.reason,
        "happened_at": row.happened_at,
        "sent_at": row.sent_at,
        "answer": answer and _answer(answer),
    }


def _answer(row: RecallAnswer) -> dict[str, Any]:
    return {
        "answered_at": row.answered_at,
        "held": row.decision_id is not None,
        "tally": tally_json(tally_told(row.tally, row.corrected)),
        "corrected": sorted(row.corrected),
        "reason": row.reason,
    }


def _progress(found: Progress) -> dict[str, Any]:
    summed = found.together
    return {
        "tally": tally_json(found.tally),
        "sales": [_sale(one) for one in sales_of(found.buyers)],
        "told": {
            "known": len(found.buyers),
            "contacted": sum(one.contacts > 0 for one in found.buyers),
            "answered": sum(one.answered for one in found.buyers),
        },
        "buyers": [_buyer(one) for one in found.buyers],
        "makers": [_maker(one) for one in found.makers],
        "all_makers": {
            **{name: count_json(count) for name, count in summed.items()},
            "percent_back": plain(percent_back(summed["returned"].units, summed["sold"].units)),
        },
    }


def _sale(one: Sales) -> dict[str, Any]:
    names = ("sold", "returned", "destroyed", "used_up", "left")
    return {
        "unit": kept_in(one.counted),
        **{name: amount(getattr(one, name), one.counted) for name in names},
        "percent_back": plain(one.percent_back),
    }


def _buyer(one: Buyer) -> dict[str, Any]:
    return {
        "customer_reference": one.customer,
        "lines": [
            {
                "lot": str(line.lot_id),
                "code": line.code,
                "unit": kept_in(line.counted),
                **{
                    name: amount(getattr(line, name), line.counted)
                    for name in ("sold", "returned", "destroyed", "used_up", "left")
                },
            }
            for line in one.lines
        ],
        "at_shop": count_json(one.at_shop),
        "contacts": one.contacts,
        "last_contact_on": one.last_contact_on,
        "answered": one.answered,
    }


def _maker(one: Answered) -> dict[str, Any]:
    return {
        "notice": str(one.notice),
        "maker": one.maker and str(one.maker),
        "lot": str(one.lot_id),
        "quantity": plain(one.quantity),
        "sent_at": one.sent_at,
        "answered_at": one.answered_at,
        "held": one.held,
        "tally": one.tally and tally_json(one.tally),
        "reason": one.reason,
        "counts": one.counts,
    }
