"""Tests of what comes from a source and not from a lot, such as water."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, Id, Moment, Text
from ledger.access import Actor, day_of
from ledger.models import SourceTest
from ledger.source_tests import record_source_test, source_tests_of


class SourceTestIn(Body):
    drawn_from = Text(
        max_length=120, help_text='Such as "tap of the north room, after the filter".'
    )
    tested_on = serializers.DateField()
    found = Text(max_length=400, help_text='Such as "plate count 12 per mL, pH 7.1".')
    result = Choice(["pass", "fail"])


class SourceTestOut(serializers.Serializer[Any]):
    id = Id()
    material = Id()
    drawn_from = Text()
    tested_on = serializers.DateField()
    found = Text()
    result = serializers.ChoiceField(["pass", "fail"])
    person = Id()
    recorded_at = Moment()


def source_test_json(row: SourceTest) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "material": str(row.material_id),
        "drawn_from": row.source,
        "tested_on": row.tested_on,
        "found": row.result,
        "result": "pass" if row.passed else "fail",
        "person": str(row.person_id),
        "recorded_at": row.recorded_at,
    }


class SourceTests(Resource):
    """When a source was tested, and what was found."""

    @reads(Paged, page_of(SourceTestOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the tests of what comes from a source, the latest first."""
        return page(self.request, query, source_tests_of(actor, id), source_test_json)

    @writes(SourceTestIn, SourceTestOut, examples=examples.SOURCE_TEST)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Keep a test of what is not stocked, such as the water of a tap."""
        row = record_source_test(
            actor,
            material=id,
            source=data["drawn_from"],
            tested_on=data["tested_on"],
            result=data["found"],
            passed=data["result"] == "pass",
            today=day_of(actor, self.now),
        )
        return source_test_json(row)
