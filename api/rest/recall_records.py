"""Recalls as records: opened, buyers told and heard, closed; notices to other makers, answers."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    Flag,
    Id,
    Moment,
    QuantityField,
    Text,
    listed,
)
from api.rest.recall_shapes import (
    CLASSIFICATIONS,
    DEPTHS,
    OUTCOMES,
    WAYS,
    NoticeOut,
    RecallBrief,
    RecallContactRow,
    RecallOut,
    brief_json,
    contact_json,
    notice_json,
    recall_json,
)
from ledger import recall_notices, recall_records
from ledger.access import Actor, day_of
from ledger.errors import Invalid
from ledger.models import Recall, RecallNotice
from ledger.recall_tallies import COUNTS


class RecallIn(Body):
    lot = Id()
    reason = Text(max_length=400, help_text="Other makers who have some of it are told this.")
    depth = Choice(
        DEPTHS, required=False, help_text="How far out it goes: your own strategy (21 CFR 7.42)."
    )
    classification = Choice(
        CLASSIFICATIONS, required=False, help_text="As the authority has said (21 CFR 7.41)."
    )
    happened_at = Moment(required=False, help_text="When the recall began; now.")


class ContactIn(Body):
    customer_reference = Text(max_length=120, help_text="The customer of the sale, or the shop.")
    how = Choice(WAYS)
    on = serializers.DateField()
    answered = Flag(default=False)
    lot = Id(required=False, help_text="With an outcome: the lot that it is about.")
    outcome = Choice(
        OUTCOMES,
        required=False,
        help_text="What became of goods that do not come back; what does is a customer return.",
    )
    quantity = QuantityField(required=False)
    note = Text(max_length=400, required=False)


class RecallClosureIn(Body):
    reason = Text(max_length=400, help_text="Why it is done.")
    happened_at = Moment(required=False)


class CorrectionIn(Body):
    what = Choice(COUNTS)
    units = DecimalText(least="0", required=False)
    grams = DecimalText(least="0", required=False)


class NoticeAnswerIn(Body):
    hold = Flag(default=False, help_text="Hold the lot and all that was made of it.")
    corrected = listed(
        CorrectionIn,
        most=len(COUNTS),
        required=False,
        help_text="Left out: what your records say.",
    )
    reason = Text(max_length=400, required=False, help_text="Why the records are not right.")


class RecallQuery(Paged):
    lot = serializers.UUIDField(required=False)


class NoticeQuery(Paged):
    direction = Choice(["in", "out"], required=False)


def _shown(actor: Actor, recall: Recall) -> dict[str, Any]:
    closure = recall_records.closures_of([recall]).get(recall.id)
    return recall_json(recall, closure, recall_records.progress_of(actor, recall))


def _notice(actor: Actor, row: RecallNotice) -> dict[str, Any]:
    answer = recall_notices.latest_answers([row]).get(row.id)
    return notice_json(row, answer, actor.maker_id)


class Recalls(Resource):
    """Lots that were called back."""

    @reads(RecallQuery, page_of(RecallBrief))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List your recalls, newest first."""
        rows = recall_records.recalls_of(actor, lot=query.get("lot"))
        found = page(self.request, query, rows, lambda row: row)
        closures = recall_records.closures_of(found.body["results"])
        found.body["results"] = [
            brief_json(row, closures.get(row.id)) for row in found.body["results"]
        ]
        return found

    @writes(RecallIn, RecallOut, examples=examples.RECALL)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Recall a lot: hold it and what was made of it, keep the list, tell other makers."""
        made = recall_records.open_recall(actor, **{"happened_at": self.now, **data})
        return _shown(actor, made)


class OneRecall(Resource):
    """One recall."""

    @reads(None, RecallOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a recall: the list as it was, and how far it has come."""
        return _shown(actor, recall_records.recall_for(actor, id))


class RecallContacts(Resource):
    """Buyers told of a recall, and what they said."""

    @reads(Paged, page_of(RecallContactRow))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the contacts of a recall, the latest first."""
        return page(self.request, query, recall_records.contacts_of(actor, id), contact_json)

    @writes(ContactIn, RecallContactRow, examples=examples.RECALL_CONTACT)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Keep that a buyer was told, and what became of the goods."""
        customer = data.pop("customer_reference")
        today = day_of(actor, self.now)
        return contact_json(
            recall_records.contact_buyer(actor, recall=id, customer=customer, today=today, **data)
        )


class RecallClosures(Resource):
    """Closing a recall."""

    @writes(RecallClosureIn, RecallOut, examples=examples.RECALL_CLOSURE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Close a recall with the reason why it is done; what is held stays held."""
        recall_records.close_recall(actor, recall=id, **{"happened_at": self.now, **data})
        return _shown(actor, recall_records.recall_for(actor, id))


class RecallNotices(Resource):
    """What makers of the co-op tell each other of recalls."""

    @reads(NoticeQuery, page_of(NoticeOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List notices that you were sent or have sent, newest first."""
        way = query.get("direction")
        rows = recall_notices.notices_of(actor, incoming=None if way is None else way == "in")
        found = page(self.request, query, rows, lambda row: row)
        answers = recall_notices.latest_answers(found.body["results"])
        found.body["results"] = [
            notice_json(row, answers.get(row.id), actor.maker_id) for row in found.body["results"]
        ]
        return found


class OneRecallNotice(Resource):
    """One notice."""

    @reads(None, NoticeOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a notice and its latest answer."""
        return _notice(actor, recall_notices.notice_for(actor, id))


class RecallAnswers(Resource):
    """Answering a notice."""

    @writes(NoticeAnswerIn, NoticeOut, examples=examples.RECALL_ANSWER)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Answer with quantities alone: what your records say, or what you know better."""
        told = data.pop("corrected", [])
        _check_once([one["what"] for one in told])
        corrected = {
            one["what"]: {unit: one[unit] for unit in ("units", "grams") if unit in one}
            for one in told
        }
        try:
            answer = recall_notices.answer_notice(actor, notice=id, corrected=corrected, **data)
        except Invalid as refusal:
            # The domain names the count; here it is one of a list.
            for place, one in enumerate(told):
                named = f"/corrected/{one['what']}/"
                refusal.pointer = refusal.pointer.replace(named, f"/corrected/{place}/")
            raise
        return notice_json(answer.notice, answer, actor.maker_id)


def _check_once(counts: list[str]) -> None:
    """Raises Invalid for a count that is told twice: one of the two would be lost."""
    for place, what in enumerate(counts):
        if what in counts[:place]:
            raise Invalid(
                "This count is told already: tell it once, in all its units.",
                pointer=f"/corrected/{place}/what",
            )
