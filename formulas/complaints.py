"""The log of complaints and adverse events: what was told, by batch code, and what came of it.

ISO 22716 14 asks that every complaint is looked into by batch; FD&C Act §605 that every adverse
event is kept on record. What must be reported by when is told by `formulas.adverse_clocks`.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, JSONObject

from formulas.access import product_for
from formulas.adverse_clocks import Clock, Heard, clocks, next_report
from formulas.models import Batch, Complaint, ComplaintFact
from ledger.access import Actor, find, lot_for, lots_visible_to
from ledger.errors import Invalid
from ledger.models import Lot
from ledger.roles import Verb

Kind = ComplaintFact.Kind


@dataclass(frozen=True, slots=True)
class ComplaintsWanted:
    """Which complaints to list; empty means all."""

    lot: UUID | None = None
    product: UUID | None = None
    adverse: bool | None = None
    serious: bool | None = None
    state: str | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """A complaint with all that is known of it by now; `batch` is the making of its lot."""

    complaint: Complaint
    facts: Sequence[ComplaintFact]
    batch: Batch | None

    def became(self, kind: str) -> bool:
        return any(fact.kind == kind for fact in self.facts)

    @property
    def serious(self) -> bool:
        return self.complaint.serious or self.became(Kind.SERIOUS)

    @property
    def adverse(self) -> bool:
        return self.complaint.adverse or self.serious or self.became(Kind.ADVERSE)

    @property
    def closed_on(self) -> date | None:
        """The day on which it was closed, unless something was told since."""
        last = self.facts[-1] if self.facts else None
        return last.learned_on if last is not None and last.kind == Kind.CLOSED else None

    @property
    def clocks(self) -> list[Clock]:
        """What is asked for by what day."""
        heard = [Heard(fact.kind, fact.learned_on) for fact in self.facts]
        received_on = self.complaint.received_on
        return clocks(received_on, adverse=self.adverse, serious=self.serious, facts=heard)


@dataclass(frozen=True, slots=True)
class Report:
    """A complaint, and the report that is asked for next."""

    complaint: Complaint
    due: Clock


def log_complaint(
    actor: Actor,
    *,
    received_on: date,
    today: date,
    what_happened: str,
    adverse: bool = False,
    serious: bool = False,
    customer: str = "",
    batch_code: str = "",
    lot: UUID | str | None = None,
    product: UUID | str | None = None,
) -> Complaint:
    """Keep a complaint as it was received.

    Without a lot, the batch code is looked up among the maker's lots and batches; one that is not
    found is kept as it was told. Raises NotFound, Invalid.
    """
    actor.must(Verb.HEAR)
    if received_on > today:
        raise Invalid(
            "This day lies in the future; give the day of receipt.", pointer="/received_on"
        )
    if serious and not adverse:
        raise Invalid("What is serious is an adverse event, too: say so.", pointer="/adverse")
    found = _by_code(actor, batch_code) if lot is None else lot_for(actor, lot, pointer="/lot")
    of = None if product is None else product_for(actor, product, pointer="/product")
    return Complaint.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        received_on=received_on,
        what_happened=what_happened,
        customer=customer,
        batch_code=batch_code,
        lot=found,
        product=of,
        adverse=adverse,
        serious=serious,
        person_id=actor.person_id,
    )


def add_fact(
    actor: Actor, *, complaint: UUID | str, kind: str, on: date, today: date, text: str
) -> ComplaintFact:
    """Keep what became known of a complaint or was done about it, on its day.

    Raises NotFound, and Invalid for a day before the receipt or in the future.
    """
    actor.must(Verb.HEAR)
    found = complaint_for(actor, complaint)
    if not found.received_on <= on <= today:
        raise Invalid("Give a day from that of the receipt to today.", pointer="/on")
    return ComplaintFact.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        complaint=found,
        kind=kind,
        learned_on=on,
        text=text,
        person_id=actor.person_id,
    )


def complaints_of(
    actor: Actor, wanted: ComplaintsWanted = ComplaintsWanted()
) -> "QuerySet[Complaint]":
    """The maker's complaints with their lots and facts, in a fixed number of queries."""
    actor.must(Verb.READ)
    rows = Complaint.objects.select_related("lot__material", "product", "person")
    rows = rows.filter(maker_id=actor.maker)
    facts = ComplaintFact.objects.filter(complaint=OuterRef("id"))
    if wanted.lot is not None:
        rows = rows.filter(lot=wanted.lot)
    if wanted.product is not None:
        rows = rows.filter(product=wanted.product)
    if wanted.adverse is not None:
        later = facts.filter(kind__in=[Kind.ADVERSE, Kind.SERIOUS])
        rows = rows.annotate(is_adverse=Q(adverse=True) | Exists(later))
        rows = rows.filter(is_adverse=wanted.adverse)
    if wanted.serious is not None:
        rows = rows.annotate(
            is_serious=Q(serious=True) | Exists(facts.filter(kind=Kind.SERIOUS))
        ).filter(is_serious=wanted.serious)
    if wanted.state is not None:
        last = Subquery(facts.order_by("-id").values("kind")[:1])
        rows = rows.annotate(last=Coalesce(last, Value("")))
        closed = Q(last=Kind.CLOSED)
        rows = rows.filter(closed if wanted.state == "closed" else ~closed)
    return rows


def complaint_for(actor: Actor, id: UUID | str) -> Complaint:
    """One of the maker's complaints. Raises NotFound."""
    return find(complaints_of(actor), id)


def told(actor: Actor, complaints: Iterable[Complaint]) -> list[Told]:
    """The complaints with their facts and batches, in two queries."""
    rows = list(complaints)
    facts: dict[UUID, list[ComplaintFact]] = defaultdict(list)
    heard = ComplaintFact.objects.select_related("person")
    for fact in heard.filter(complaint__in=[row.id for row in rows]).order_by("id"):
        facts[fact.complaint_id].append(fact)
    lots = [row.lot_id for row in rows if row.lot_id is not None]
    made = Batch.objects.select_related("making").filter(maker_id=actor.maker, making__lot__in=lots)
    batches = {batch.making.lot_id: batch for batch in made if batch.making is not None}
    return [Told(row, facts[row.id], batches.get(row.lot_id)) for row in rows]


def reports_waiting(actor: Actor, *, most: int) -> list[Report]:
    """The open complaints of serious events of which a report is not noted as made, the one that
    is asked for first before the others; of so many complaints, the earliest, in one query.

    That a report has to be made is not decided here: whoever need not make it closes the complaint.
    """
    facts = ComplaintFact.objects.filter(complaint=OuterRef("id")).order_by("id")
    heard = ArraySubquery(facts.values(told=JSONObject(kind="kind", on="learned_on")))
    rows = complaints_of(actor, ComplaintsWanted(serious=True, state="open")).annotate(heard=heard)
    found = []
    for row in rows.order_by("received_on", "id")[:most]:
        known = [Heard(one["kind"], date.fromisoformat(one["on"])) for one in row.heard]
        due = next_report(clocks(row.received_on, adverse=True, serious=True, facts=known))
        if due is not None:
            found.append(Report(row, due))
    return sorted(found, key=lambda one: one.due.due_on)


def _by_code(actor: Actor, code: str) -> Lot | None:
    """The lot of this code, or what was made in the batch of this code; None if there is none."""
    if not code:
        return None
    lot = lots_visible_to(actor).filter(code=code).first()
    if lot is not None:
        return lot
    batch = Batch.objects.select_related("making").filter(maker_id=actor.maker, code=code).first()
    return None if batch is None or batch.making is None else lot_for(actor, batch.making.lot_id)
