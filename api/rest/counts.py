"""Counting stock: sheets, readings, differences explained, and what is to be counted next."""

from datetime import date
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, cursor_at, links, page, page_of, start_of
from api.rest import examples
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    listed,
    plain,
)
from api.rest.stock import amount
from formulas import counting as batch_counting
from ledger import abc_classes, counting
from ledger.access import Actor, find
from ledger.count_accuracy import accuracy_of
from ledger.counting_rules import CLASSES, percent_of, within
from ledger.models import CountCause, CountLine, CountSheet
from ledger.money import round_money
from ledger.quantities import kept_in
from ledger.roles import Verb

STATES = [state.value for state in CountSheet.State]
CAUSES = [cause.value for cause in CountCause.Cause]
ASKS = ["reading", "recount", "explanation"]


def _ids(most: int, help_text: str) -> serializers.ListField:
    return serializers.ListField(child=Id(), required=False, max_length=most, help_text=help_text)


class CountIn(Body):
    place = Text(max_length=120, required=False, help_text="Where, such as a shelf or a room.")
    lies_in = Id(required=False, help_text="Only the lots that were put into this place.")
    classes = serializers.ListField(
        child=Choice(list(CLASSES)), required=False, max_length=3, help_text="By annual use x cost."
    )
    materials = _ids(200, "Only lots of these; all that lies in store if nothing is chosen.")
    lots = _ids(200, "These lots, even if the books have nothing left of them.")
    blind = serializers.BooleanField(
        required=False, help_text="Without the book figures, until a line needs no further reading."
    )
    tolerance_percent = DecimalText(
        least="0",
        most="100",
        places=4,
        required=False,
        help_text="Of the book figure; else 1 % for class A, 2 % for B, 5 % for C.",
    )


class ContainerIn(Body):
    gross = QuantityField(help_text="With what is in it.")
    tare = QuantityField(help_text="Empty.")


class ReadingIn(Body):
    lot = Id()
    containers = listed(ContainerIn, least=1, most=50, required=False)
    quantity = QuantityField(required=False)
    nothing = serializers.BooleanField(required=False, help_text="There is none of it.")


class ReadingsIn(Body):
    happened_at = Moment(required=False, help_text="When the scale was read; now, if left out.")
    readings = listed(ReadingIn, least=1, most=200)


class CauseIn(Body):
    cause = Choice(CAUSES)
    reason = Text(max_length=400, help_text="How this is known.")
    quantity = QuantityField(required=False, help_text="The rest of the difference, if left out.")
    booked = QuantityField(required=False, help_text="What the books say went into the batch.")
    really = QuantityField(required=False, help_text="What really went into it.")
    batch = Id(required=False, help_text="With a misbooking: the batch that it belongs to.")


class ExplanationIn(Body):
    lot = Id()
    causes = listed(CauseIn, least=1, most=20)


class ClosingIn(Body):
    explanations = listed(ExplanationIn, most=200, required=False)
    leave_unread = serializers.BooleanField(
        required=False, help_text="Close it though some lots were not read."
    )


class CountCancellationIn(Body):
    reason = Text(max_length=400)


class CauseOut(serializers.Serializer[Any]):
    cause = serializers.ChoiceField(CAUSES)
    reason = Text()
    quantity = Shown(help_text="Below zero left the store.")
    value = Shown(allow_null=True, help_text="Null for who may not see costs.")
    entry = Id()
    batch = Id(allow_null=True)
    batch_code = Text(allow_null=True)
    cost_difference = Shown(
        allow_null=True,
        help_text="What the batch costs more (below zero: less) than was booked so far.",
    )


class CountLineOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    material = Id()
    material_name = Text()
    abc_class = serializers.ChoiceField(CLASSES)
    unit = serializers.ChoiceField(["g", "each"])
    tolerance_percent = Shown()
    readings = serializers.IntegerField()
    counted_at = Moment(allow_null=True)
    counted = Shown(allow_null=True)
    book = Shown(allow_null=True, help_text="At the moment of the reading; null while blind.")
    difference = Shown(allow_null=True, help_text="Below zero is missing.")
    difference_percent = Shown(allow_null=True)
    tolerance = Shown(allow_null=True)
    within = serializers.BooleanField(allow_null=True)
    asks = serializers.ChoiceField(ASKS, allow_null=True, help_text="What the line still needs.")
    causes = CauseOut(many=True)


class AccuracyOut(serializers.Serializer[Any]):
    counted = serializers.IntegerField()
    within = serializers.IntegerField()
    percent = Shown(allow_null=True, help_text="Record accuracy: within tolerance / counted.")


class CountBrief(serializers.Serializer[Any]):
    id = Id()
    place = Text(allow_blank=True)
    blind = serializers.BooleanField()
    state = serializers.ChoiceField(STATES)
    opened_at = Moment()
    ended_at = Moment(allow_null=True)
    reason = Text(allow_blank=True, help_text="Why it was dropped.")
    person = Id()


class CountOut(CountBrief):
    accuracy = AccuracyOut()
    lines = CountLineOut(many=True)


class CountQuery(Paged):
    state = Choice(STATES, required=False)


class DueQuery(Paged):
    abc_class = Choice(list(CLASSES), required=False)


class DueCountRow(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    unit = serializers.ChoiceField(["g", "each"])
    abc_class = serializers.ChoiceField(CLASSES)
    lots = serializers.IntegerField(help_text="Lots in store.")
    annual_use = Shown(help_text="Left the store in the last 365 days.")
    annual_value = Shown(allow_null=True, help_text="What that had cost.")
    last_counted = serializers.DateField(allow_null=True)
    due_on = serializers.DateField()
    due = serializers.BooleanField()


def brief_json(sheet: CountSheet) -> dict[str, Any]:
    return {
        "id": str(sheet.id),
        "place": sheet.place,
        "blind": sheet.blind,
        "state": sheet.state,
        "opened_at": sheet.opened_at,
        "ended_at": sheet.ended_at,
        "reason": sheet.reason,
        "person": str(sheet.person_id),
    }


def sheet_json(sheet: CountSheet, actor: Actor) -> dict[str, Any]:
    lines = list(counting.lines_of(sheet))
    causes = [cause for line in lines for cause in line.causes.all()]
    named = [id for cause in causes if (id := cause.entry.details.get("batch"))]
    codes = {id: batch.code for id, batch in batch_counting.batches_named(actor, named).items()}
    shown = [_line(line, sheet, actor, codes) for line in lines]
    found = accuracy_of(lines)
    accuracy = {"counted": found.counted, "within": found.within, "percent": plain(found.percent)}
    return {
        **brief_json(sheet),
        "accuracy": accuracy,
        "lines": shown,
    }


def _line(
    line: CountLine, sheet: CountSheet, actor: Actor, codes: dict[str, str]
) -> dict[str, Any]:
    counted = line.lot.material.counted
    asks = line.asks or None
    # Whoever reads again must not know what is expected.
    hidden = sheet.blind and asks in ("reading", "recount")
    figures: dict[str, Any] = dict.fromkeys(
        ("book", "difference", "difference_percent", "tolerance", "within")
    )
    if line.counted is not None and not hidden:
        difference = line.difference or Decimal(0)
        share = percent_of(difference, line.book)
        figures = {
            "book": amount(line.book, counted),
            "difference": amount(difference, counted),
            "difference_percent": plain(share),
            "tolerance": plain(line.tolerance),
            "within": within(line.counted, line.book, line.tolerance),
        }
    return {
        "lot": str(line.lot_id),
        "code": line.lot.code,
        "material": str(line.material_id),
        "material_name": line.lot.material.name,
        "abc_class": line.abc_class,
        "unit": kept_in(counted),
        "tolerance_percent": plain(line.tolerance_percent),
        "readings": line.readings,
        "counted_at": line.counted_at,
        "counted": amount(line.counted, counted),
        **figures,
        "asks": asks,
        "causes": [_cause(cause, actor, counted, codes) for cause in line.causes.all()],
    }


def _cause(cause: CountCause, actor: Actor, counted: bool, codes: dict[str, str]) -> dict[str, Any]:
    batch = cause.entry.details.get("batch")
    value = plain(round_money(cause.value, actor.currency))
    sees = actor.may(Verb.SEE_COSTS)
    changed = value if cause.quantity < 0 else plain(-round_money(cause.value, actor.currency))
    return {
        "cause": cause.cause,
        "reason": cause.reason,
        "quantity": amount(cause.quantity, counted),
        "value": value if sees else None,
        "entry": str(cause.entry_id),
        "batch": batch,
        "batch_code": batch and codes.get(batch),
        "cost_difference": changed if sees and batch else None,
    }


class Counts(Resource):
    """Count sheets."""

    @reads(CountQuery, page_of(CountBrief))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List count sheets, newest first."""
        rows = counting.sheets_of(actor)
        if "state" in query:
            rows = rows.filter(state=query["state"])
        return page(self.request, query, rows, brief_json)

    @writes(CountIn, CountOut, examples=examples.COUNT)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Open a count sheet of lots by class, material or place, one by one, or of all."""
        chosen = counting.Chosen(
            classes=data.pop("classes", ()),
            materials=data.pop("materials", ()),
            lots=data.pop("lots", ()),
            lies_in=data.pop("lies_in", None),
        )
        return sheet_json(counting.open_sheet(actor, chosen=chosen, now=self.now, **data), actor)


class OneCount(Resource):
    """One count sheet."""

    @reads(None, CountOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a count sheet with what each line still needs."""
        return sheet_json(find(counting.sheets_of(actor), id), actor)


class Readings(Resource):
    """What the scale said."""

    @writes(ReadingsIn, CountOut, examples=examples.READING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Keep gross and tare, or pieces; each lot is judged on the books of that moment."""
        sheet = counting.read_lots(
            actor,
            sheet=id,
            readings=[_read(one) for one in data["readings"]],
            happened_at=data.get("happened_at", self.now),
            now=self.now,
        )
        return sheet_json(sheet, actor)


class Closings(Resource):
    """The end of a count."""

    @writes(ClosingIn, CountOut, examples=examples.CLOSING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Explain the differences by their causes, post what follows, and close the sheet."""
        closed = batch_counting.close_count(
            actor,
            sheet=id,
            explanations=[
                batch_counting.Explanation(
                    one["lot"], [batch_counting.Cause(**cause) for cause in one["causes"]]
                )
                for one in data.get("explanations", [])
            ],
            now=self.now,
            leave_unread=data.get("leave_unread", False),
        )
        return sheet_json(closed.sheet, actor)


class CountCancellations(Resource):
    """A count that comes to nothing."""

    @writes(CountCancellationIn, CountOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Drop a count sheet without posting anything, and say why."""
        return sheet_json(
            counting.drop_sheet(actor, sheet=id, reason=data["reason"], now=self.now), actor
        )


class DueCounts(Resource):
    """What is to be counted when."""

    @reads(DueQuery, page_of(DueCountRow))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List materials by the day of their next count: A monthly, B quarterly, C yearly."""
        start, limit = start_of(self.request, query), query["limit"]
        classes = [query["abc_class"]] if "abc_class" in query else []
        rows = abc_classes.due_counts(actor, now=self.now, classes=classes)
        if start:
            rows = [row for row in rows if _place(row) > tuple(start)]
        more = len(rows) > limit
        cursor = cursor_at(self.request, _place(rows[limit - 1])) if more else None
        results = [_due(row, actor) for row in rows[:limit]]
        return Sent({"results": results, "next": cursor}, headers=links(self.request, cursor))


def _place(row: abc_classes.Due) -> tuple[str, str, str, str]:
    day: date = row.due_on
    return (day.isoformat(), row.abc_class, row.name, str(row.material_id))


def _due(row: abc_classes.Due, actor: Actor) -> dict[str, Any]:
    value = plain(round_money(row.annual_value, actor.currency))
    return {
        "material": str(row.material_id),
        "name": row.name,
        "unit": kept_in(row.counted),
        "abc_class": row.abc_class,
        "lots": row.lots,
        "annual_use": amount(row.annual_use, row.counted),
        "annual_value": value if actor.may(Verb.SEE_COSTS) else None,
        "last_counted": row.last_counted,
        "due_on": row.due_on,
        "due": row.is_due,
    }


def _read(one: dict[str, Any]) -> counting.Read:
    containers = [counting.Container(**container) for container in one.get("containers", [])]
    return counting.Read(one["lot"], containers, one.get("quantity"), one.get("nothing", False))
