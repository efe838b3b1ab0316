"""Tests of what comes from a source and not from a lot, such as water (ISO 22716:2007 6.8).

What is not stocked has no lot that a certificate could be attached to; the day and the source stand
in its place.
"""

from datetime import date, timedelta
from typing import Final
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from ledger.access import Actor, material_for
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.models import SourceTest
from ledger.roles import Verb

# A good test is taken to hold so long: common practice, since the standard names no span.
HOLDS: Final = timedelta(days=365)


def record_source_test(
    actor: Actor,
    *,
    material: UUID | str,
    source: str,
    tested_on: date,
    result: str,
    passed: bool,
    today: date,
) -> SourceTest:
    """Keep what a test of a source found.

    Raises NotFound, Forbidden, and Invalid for a material that is kept in lots and a day to come.
    """
    actor.must(Verb.DECIDE)
    found = material_for(actor, material)
    if found.stocked:
        raise Invalid(
            Sentence("{name} is kept in lots: keep the test with its lot.", name=found.name),
            pointer="/material",
        )
    if tested_on > today:
        raise Invalid("The day of the test lies in the future.", pointer="/tested_on")
    row = SourceTest(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        material=found,
        source=source,
        tested_on=tested_on,
        result=result,
        passed=passed,
        person_id=actor.person_id,
    )
    row.save(force_insert=True)
    return row


def source_tests_of(actor: Actor, material: UUID | str) -> "QuerySet[SourceTest]":
    """The tests of a material's sources. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    found = material_for(actor, material)
    return SourceTest.objects.select_related("person").filter(maker_id=actor.maker, material=found)


def sources_to_test(actor: Actor, *, day: date, most: int) -> list[SourceTest]:
    """The latest test of each material whose source is to be tested again, those that failed first.

    One that failed stands until another is good, a good one for a year. Of what was never tested
    nothing is told. Raises Forbidden.
    """
    actor.must(Verb.READ)
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker}
    newer = Q(tested_on__gt=OuterRef("tested_on"))
    newer |= Q(tested_on=OuterRef("tested_on"), id__gt=OuterRef("id"))
    later = SourceTest.objects.filter(newer, **own, material_id=OuterRef("material_id"))
    due = Q(passed=False) | Q(tested_on__lt=day - HOLDS)
    rows = SourceTest.objects.select_related("material").filter(
        due, ~Exists(later), **own, material__stocked=False
    )
    return list(rows.order_by("passed", "tested_on", "id")[:most])
