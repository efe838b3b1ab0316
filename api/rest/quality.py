"""What is known of a lot's quality: specifications, test results, retests."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, DecimalText, Id, Moment, Shown, Text, listed, plain
from api.rest.lots import DecidedOut, decided_json
from ledger import retesting
from ledger.access import Actor, day_of
from ledger.limits import Limit
from ledger.models import LotResult, Retest, Specification, SpecificationLimit

FIGURE: dict[str, Any] = {"least": "-999999999999", "most": "999999999999", "required": False}


class RetestIn(Body):
    tested_on = serializers.DateField()
    result = Choice(["pass", "fail"])
    basis = Text(max_length=400, help_text='Such as "peroxide value 3.1, smell as new".')
    retest_on = serializers.DateField(
        required=False, allow_null=True, help_text="The next retest date, with a pass."
    )
    expires_on = serializers.DateField(
        required=False, allow_null=True, help_text="Refused: an expiry date is never extended."
    )


class RetestRow(serializers.Serializer[Any]):
    id = Id()
    lot = Id()
    tested_on = serializers.DateField(
        allow_null=True, help_text="Null for a release that gave a new retest date."
    )
    result = serializers.ChoiceField(["pass", "fail"])
    basis = Text()
    retest_before = serializers.DateField()
    retest_on = serializers.DateField(allow_null=True)
    person = Id()
    recorded_at = Moment()


class RetestOut(RetestRow):
    decision = DecidedOut(allow_null=True, help_text="The hold that followed from a failure.")


class LimitIn(Body):
    name = Text(max_length=80, help_text='The property, such as "pH".')
    low = DecimalText(**FIGURE)
    high = DecimalText(**FIGURE)
    unit = Text(max_length=32, required=False)
    text = Text(max_length=200, required=False, help_text="Instead of limits: what must be said.")


class SpecificationIn(Body):
    limits = listed(LimitIn, least=1, most=60)
    reason = Text(max_length=400, required=False, help_text="Why it is changed.")


class LimitOut(serializers.Serializer[Any]):
    name = Text()
    low = Shown(allow_null=True)
    high = Shown(allow_null=True)
    unit = Text(allow_blank=True)
    text = Text(allow_blank=True)


class SpecificationOut(serializers.Serializer[Any]):
    id = Id()
    material = Id()
    number = serializers.IntegerField(help_text="The highest is in force.")
    limits = LimitOut(many=True)
    reason = Text(allow_blank=True)
    person = Id()
    created_at = Moment()


class ResultIn(Body):
    name = Text(max_length=80)
    value = DecimalText(**FIGURE)
    text = Text(max_length=200, required=False)
    unit = Text(max_length=32, required=False)


class ResultsIn(Body):
    tested_on = serializers.DateField()
    results = listed(ResultIn, least=1, most=60)


class TestResultRow(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    value = Shown(allow_null=True)
    text = Text(allow_blank=True)
    unit = Text(allow_blank=True)
    limit = LimitOut(allow_null=True)
    specification = serializers.IntegerField(allow_null=True, help_text="Its number.")
    inside = serializers.BooleanField(allow_null=True, help_text="Null where nothing is asked.")
    tested_on = serializers.DateField()
    person = Id()
    recorded_at = Moment()


class ResultsOut(serializers.Serializer[Any]):
    lot = Id()
    results = TestResultRow(many=True)
    decision = DecidedOut(
        allow_null=True, help_text="The hold that followed from a result outside its limit."
    )


def retest_json(row: Retest) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "lot": str(row.lot_id),
        "tested_on": row.tested_on,
        "result": "pass" if row.passed else "fail",
        "basis": row.basis,
        "retest_before": row.retest_before,
        "retest_on": row.retest_on,
        "person": str(row.person_id),
        "recorded_at": row.recorded_at,
    }


def specification_json(row: Specification) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "material": str(row.material_id),
        "number": row.number,
        "limits": [
            limit_json(limit) for limit in sorted(row.limits.all(), key=lambda one: one.position)
        ],
        "reason": row.reason,
        "person": str(row.person_id),
        "created_at": row.created_at,
    }


def limit_json(row: SpecificationLimit) -> dict[str, Any]:
    return {
        "name": row.name,
        "low": plain(row.low),
        "high": plain(row.high),
        "unit": row.unit,
        "text": row.text,
    }


def result_json(row: LotResult) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "name": row.name,
        "value": plain(row.value),
        "text": row.text,
        "unit": row.unit,
        "limit": limit_json(row.limit) if row.limit else None,
        "specification": row.limit.specification.number if row.limit else None,
        "inside": row.inside,
        "tested_on": row.tested_on,
        "person": str(row.person_id),
        "recorded_at": row.recorded_at,
    }


class Retests(Resource):
    """When a lot was tested again."""

    @reads(Paged, page_of(RetestRow))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the retests of a lot, the latest first."""
        return page(self.request, query, retesting.retests_of(actor, id), retest_json)

    @writes(RetestIn, RetestOut, examples=examples.RETEST)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Keep a retest; a pass moves the retest date, a failure holds the lot."""
        passed = data.pop("result") == "pass"
        done = retesting.retest(actor, lot=id, passed=passed, today=day_of(actor, self.now), **data)
        return {
            **retest_json(done.retest),
            "decision": decided_json(done.decided) if done.decided else None,
        }


class Specifications(Resource):
    """What the maker asks of a material."""

    @reads(Paged, page_of(SpecificationOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the versions of a material's specification, the one in force first."""
        rows = retesting.specifications_of(actor, id)
        return page(self.request, query, rows, specification_json)

    @writes(SpecificationIn, SpecificationOut, examples=examples.SPECIFICATION)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Set the limits of a material as its next version."""
        limits = [Limit(**limit) for limit in data["limits"]]
        made = retesting.specify(actor, material=id, limits=limits, reason=data.get("reason", ""))
        return specification_json(made)


class TestResults(Resource):
    """What tests of a lot found."""

    @reads(Paged, page_of(TestResultRow))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the test results of a lot, the latest first."""
        return page(self.request, query, retesting.results_of(actor, id), result_json)

    @writes(ResultsIn, ResultsOut, examples=examples.RESULTS)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Keep test results; one outside its limit puts the lot on hold by itself."""
        done = retesting.record_results(
            actor,
            lot=id,
            found=[retesting.Found(**one) for one in data["results"]],
            tested_on=data["tested_on"],
            today=day_of(actor, self.now),
        )
        return {
            "lot": str(done.lot.id),
            "results": [result_json(row) for row in done.results],
            "decision": decided_json(done.decided) if done.decided else None,
        }
