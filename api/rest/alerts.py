"""What the maker was warned of, and what it says to that."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, Id, Moment, Shown, Text, plain
from ledger import alert_answers
from ledger.access import Actor
from ledger.models import Alert, AlertKind


class RunsOut(serializers.Serializer[Any]):
    available = Shown(help_text="Usable less reserved, when the alert opened.")
    daily_use = Shown(help_text="The mean of the last ninety days.")
    on = serializers.DateField(
        allow_null=True,
        help_text="By what is planned, each need on its day, or at the mean use if that is more;"
        " null where neither uses it up.",
    )


class ShortOfBatch(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    quantity = Shown(help_text="g, or count for what is counted")
    order_by = serializers.DateField(
        allow_null=True, help_text="The planned day less the lead time that the watch states."
    )


class BatchInShort(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    planned_for = serializers.DateField()
    short = ShortOfBatch(many=True)
    more = serializers.IntegerField(help_text="How many materials are short beyond those named.")


class LotInDanger(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    quantity = Shown()
    expires_on = serializers.DateField(allow_null=True)
    at_risk = Shown(
        allow_null=True, help_text="What will be left of it after its last day at the usual use."
    )
    daily_use = Shown(allow_null=True)
    promised = Shown(allow_null=True, help_text="What planned batches take of it in time.")
    other_makers = serializers.IntegerField(
        allow_null=True,
        help_text="How many other makers use the material, of those who let it be known.",
    )
    other_maker_names = serializers.ListField(child=Text(), help_text="Of those who are named.")
    retest_on = serializers.DateField(allow_null=True)
    opened_on = serializers.DateField(
        allow_null=True, help_text="Of what goes off before its expiry, since it is open."
    )
    use_by = serializers.DateField(allow_null=True, help_text="And by when it is to be used then.")
    quarantined_on = serializers.DateField(allow_null=True)


class PriceJump(serializers.Serializer[Any]):
    supplier = Text()
    was = Shown()
    now = Shown()
    unit = Text()
    percent = Shown()


class DepositOwed(serializers.Serializer[Any]):
    supplier = Text()
    amount = Shown()
    currency = Text()
    paid_on = serializers.DateField()
    came_in = Text(
        allow_blank=True, help_text="The code of the lot that came in it, if one is named."
    )


class CalledBack(serializers.Serializer[Any]):
    notice = Id(help_text="To be answered.")
    by = Text(help_text="The maker that calls the lot back.")
    reason = Text()


class AlertOut(serializers.Serializer[Any]):
    id = Id()
    kind = serializers.ChoiceField(AlertKind.values)
    material = Id(allow_null=True)
    name = Text(help_text="Of the material; of a batch its code, of a deposit its supplier.")
    position = Shown(allow_null=True)
    reorder_point = Shown(allow_null=True)
    runs_out = RunsOut(allow_null=True, help_text="Of what is low.")
    batch = BatchInShort(allow_null=True, help_text="That can't be made.")
    lot = LotInDanger(allow_null=True, help_text="Of an alert about one lot.")
    price = PriceJump(
        allow_null=True, help_text="That jumped; told to who may see what is offered."
    )
    deposit = DepositOwed(
        allow_null=True, help_text="That nobody claimed; told to who may see costs."
    )
    called_back = CalledBack(allow_null=True, help_text="By whom and why; until it is answered.")
    opened_at = Moment()
    closed_at = Moment(allow_null=True)
    acknowledged_at = Moment(allow_null=True)
    acknowledged_by = Id(allow_null=True)
    snoozed_until = Moment(allow_null=True)
    state = serializers.ChoiceField(["open", "closed"])


class AlertQuery(Paged):
    state = Choice(["open", "closed"], required=False)
    kind = Choice(AlertKind.values, required=False)


class SnoozeIn(Body):
    until = Moment()


def alert_json(row: Alert) -> dict[str, Any]:
    facts: Mapping[str, Any] = row.facts
    counted = row.material.counted if row.material else False
    return {
        "id": str(row.id),
        "kind": row.kind,
        "material": str(row.material_id) if row.material_id else None,
        "name": row.material.name if row.material else facts.get("code") or facts["supplier"],
        "position": _amount(row.position, counted),
        "reorder_point": _amount(row.reorder_point, counted),
        "runs_out": _runs_out(facts) if row.kind == AlertKind.LOW_STOCK else None,
        "batch": _batch(row) if row.kind == AlertKind.BATCH_SHORT else None,
        "lot": _lot(row) if row.lot else None,
        "price": _price(facts) if row.kind == AlertKind.PRICE_JUMP else None,
        "deposit": _deposit(facts) if row.kind == AlertKind.DEPOSIT_UNCLAIMED else None,
        "called_back": _called_back(row) if row.kind == AlertKind.CALLED_BACK else None,
        "opened_at": row.opened_at,
        "closed_at": row.closed_at,
        "acknowledged_at": row.acknowledged_at,
        "acknowledged_by": row.acknowledged_by_id and str(row.acknowledged_by_id),
        "snoozed_until": row.snoozed_until,
        "state": "closed" if row.closed_at else "open",
    }


def _amount(quantity: Decimal | None, counted: bool) -> str | None:
    if quantity is None:
        return None
    return plain(quantity.quantize(Decimal(1)) if counted else quantity)


def _runs_out(facts: Mapping[str, Any]) -> dict[str, Any] | None:
    """None of an alert that was opened before this was reckoned."""
    if "daily_use" not in facts:
        return None
    return {
        "available": facts["available"],
        "daily_use": facts["daily_use"],
        "on": facts["runs_out_on"],
    }


def _batch(row: Alert) -> dict[str, Any]:
    named = ("material", "name", "quantity", "order_by")
    return {
        "id": str(row.subject),
        "code": row.facts["code"],
        "planned_for": row.facts["planned_for"],
        "short": [{name: one[name] for name in named} for one in row.facts["short"]],
        "more": row.facts["more"],
    }


def _lot(row: Alert) -> dict[str, Any]:
    facts = row.facts
    return {
        "id": str(row.lot_id),
        "code": facts["lot"],
        "quantity": facts["quantity"],
        "expires_on": facts.get("expires_on"),
        "at_risk": facts.get("at_risk"),
        "daily_use": facts.get("daily_use"),
        "promised": facts.get("promised"),
        "other_makers": facts.get("others"),
        "other_maker_names": facts.get("others_named", []),
        "retest_on": facts.get("retest_on"),
        "opened_on": facts.get("opened_on"),
        "use_by": facts.get("use_by"),
        "quarantined_on": facts.get("since"),
    }


def _called_back(row: Alert) -> dict[str, Any]:
    return {"notice": str(row.subject), "by": row.facts["by"], "reason": row.facts["reason"]}


def _deposit(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {name: facts[name] for name in ("supplier", "amount", "currency", "paid_on", "came_in")}


def _price(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {name: facts[name] for name in ("supplier", "was", "now", "unit", "percent")}


class Alerts(Resource):
    """What the maker was warned of."""

    @reads(AlertQuery, page_of(AlertOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List alerts, newest first."""
        state = query.get("state")
        rows = alert_answers.alerts(
            actor, open=None if state is None else state == "open", kind=query.get("kind")
        )
        return page(self.request, query, rows, alert_json)


class OneAlert(Resource):
    """One alert."""

    @reads(None, AlertOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show an alert."""
        return alert_json(alert_answers.alert_for(actor, id))


class Acknowledgements(Resource):
    """That somebody has seen an alert."""

    @writes(None, AlertOut)
    def post(self, actor: Actor, id: str) -> dict[str, Any]:
        """Say that an open alert was seen; no mail of it goes out any more."""
        return alert_json(alert_answers.acknowledge(actor, id, now=self.now))


class Snoozes(Resource):
    """An alert put off."""

    @writes(SnoozeIn, AlertOut, examples=examples.SNOOZE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Say nothing of an open alert until then; if it is still so then, a mail says so."""
        return alert_json(alert_answers.snooze(actor, id, until=data["until"], now=self.now))
