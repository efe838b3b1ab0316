"""The deviation register: what was overridden, by whom, when and why (ISO 22716 13 and 15).

It reads what the entries keep. An addition that the formula does not list is in it, and a lot that
was poured before an older one, with or without a reason.
"""

from dataclasses import dataclass
from datetime import date
from typing import Any, Final
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery, UUIDField
from django.db.models.fields.json import KT
from django.db.models.functions import Cast

from formulas.models import Batch, Weighing
from ledger.access import Actor
from ledger.deviations import Rule, broken_by
from ledger.models import Entry, Posting
from ledger.roles import Verb

__all__ = ["KINDS", "NOTED", "DeviationsWanted", "Rule", "broken_by", "deviations_of", "kinds_of"]

# A reason that was given where no rule stood in the way.
NOTED: Final = "noted"
KINDS: Final = [*(rule.value for rule in Rule), NOTED]


@dataclass(frozen=True, slots=True)
class DeviationsWanted:
    """Which deviations to list; empty means all. `since` is a day where the co-op is."""

    batch: UUID | None = None
    lot: UUID | None = None
    kind: str | None = None
    since: date | None = None


def deviations_of(actor: Actor, wanted: DeviationsWanted) -> "QuerySet[Entry]":
    """The entries of the maker that override something or say why they deviate.

    Each comes with its `batch_id`, `batch_code`, `lot_ids`, `person_name`, whether it is an
    `addition`, and the entry that reversed it: one query whatever their number. Raises Forbidden.
    """
    actor.must(Verb.READ)
    own = Entry.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    additions = _additions().filter(maker_id=actor.maker, coop_id=actor.coop_id)
    # Three short indexes, and not one look at every entry: hence no plain OR.
    newer = Weighing.objects.filter(overrode__contains=[Rule.NEWER_LOT.value])
    newer = newer.filter(maker_id=actor.maker, coop_id=actor.coop_id)
    told = own.exclude(deviation="").values("id")
    told = told.union(additions.values("entry_id"), newer.values("entry_id"))
    rows = own.filter(id__in=told)
    if wanted.batch is not None:
        rows = rows.filter(details__batch=str(wanted.batch))
    if wanted.lot is not None:
        moved = Posting.objects.filter(coop_id=actor.coop_id, lot_id=wanted.lot)
        rows = rows.filter(id__in=moved.values("entry_id"))
    if wanted.since is not None:
        rows = rows.filter(happened_on__gte=wanted.since)
    if wanted.kind is not None:
        rows = rows.filter(_of_kind(wanted.kind))
    return _shown(rows)


def kinds_of(row: Any) -> list[str]:
    """What an entry overrode; a reason that stood in no rule's way is `noted`."""
    kinds = list(row.details.get("overrode", ()))
    if row.addition and Rule.NOT_IN_FORMULA not in kinds:
        kinds.append(Rule.NOT_IN_FORMULA.value)
    return kinds or [NOTED]


def _additions() -> "QuerySet[Weighing]":
    """What was weighed in that no line lists."""
    return Weighing.objects.filter(line__isnull=True, quantity__gt=0)


def _is_addition() -> Exists:
    return Exists(_additions().filter(coop_id=OuterRef("coop_id"), entry_id=OuterRef("id")))


def _of_kind(kind: str) -> Q:
    if kind == NOTED:
        nothing = Q(details__overrode__isnull=True) | Q(details__overrode=[])
        return nothing & ~Q(_is_addition())
    named = Q(details__overrode__contains=[kind])
    return named | Q(_is_addition()) if kind == Rule.NOT_IN_FORMULA else named


def _shown(rows: "QuerySet[Entry]") -> "QuerySet[Entry]":
    undoing = Entry.objects.filter(coop_id=OuterRef("coop_id"), reverses_id=OuterRef("id"))
    batches = Batch.objects.filter(
        coop_id=OuterRef("coop_id"), id=Cast(OuterRef("batch_id"), UUIDField())
    )
    lots = Posting.objects.filter(
        coop_id=OuterRef("coop_id"), entry_id=OuterRef("id"), lot__isnull=False
    )
    return rows.annotate(
        addition=_is_addition(),
        batch_id=KT("details__batch"),
        batch_code=Subquery(batches.values("code")[:1]),
        reversed_by=Subquery(undoing.values("id")[:1]),
        person_name=F("person__username"),
        lot_ids=ArraySubquery(lots.values("lot_id").distinct().order_by("lot_id")),
    )
