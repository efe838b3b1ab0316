"""What finishing and filling share: packaging from the store, dates of what is made, samples."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from formulas.models import Batch
from formulas.picking import pick
from formulas.reserving import StoredLot, stored_lots
from ledger.access import Actor
from ledger.entries import Move, Posted, account, open_account, post_entry
from ledger.errors import (
    Invalid,
    NotEnough,
    Sentence,
    placed,
)
from ledger.issuing import ISSUED
from ledger.lots import last_usable_day
from ledger.measuring import density_of, measure
from ledger.models import Account, Entry, Lot, Material, Reservation
from ledger.quantities import Quantity
from ledger.store_costs import StoreDraw

# So many batches are named that were promised what is missing.
MOST_NAMED: Final = 5


@dataclass(frozen=True, slots=True)
class Sample:
    """So much of what was made, kept or given away as a sample, why, and for what purpose."""

    quantity: Quantity
    reason: str
    purpose: str = "sample"


def _promised(actor: Actor, material: UUID, but: UUID | None) -> list[str]:
    """The codes of other planned batches that were promised some of a material."""
    rows = Reservation.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, material_id=material, quantity__gt=0
    )
    if but is not None:
        rows = rows.exclude(account_id=but)
    found = Batch.objects.filter(maker_id=actor.maker, account_id__in=rows.values("account_id"))
    return list(found.order_by("planned_for", "id").values_list("code", flat=True)[:MOST_NAMED])


def _too_few(
    name: str, material: UUID, count: Decimal, there: Decimal, promised: Sequence[str]
) -> NotEnough:
    places = {"count": count.normalize(), "name": name, "left": there.normalize()}
    told = Sentence(
        "{count:f} of {name} are needed, and {left:f} can be used: receive or release more.",
        **places,
    )
    if promised:
        told = Sentence(
            "{count:f} of {name} are needed, and {left:f} can be used, since {batches} was promised"
            " some: receive or release more, or cancel a batch that can wait.",
            **places,
            batches=", ".join(promised),
        )
    return NotEnough(told, material=str(material), wanted=str(count), left=str(there))


def draw_packaging(
    actor: Actor,
    needs: Sequence[tuple[Material, Decimal]],
    day: date,
    *,
    reserved_for: UUID | None = None,
) -> list[StoreDraw]:
    """Lots of packaging for `day`: first those reserved for the batch, then first expiry first.

    The pools are locked by then. Raises NotEnough, naming what is missing.
    """
    together: dict[UUID, Decimal] = defaultdict(Decimal)
    for material, count in needs:
        together[material.id] += count
    names = {material.id: material.name for material, _ in needs}
    stored = stored_lots(actor, together, account=reserved_for)
    draws = []
    for id, count in together.items():
        taken, short = _own_first(stored[id], count, day)
        if short > 0:
            raise _too_few(names[id], id, count, count - short, _promised(actor, id, reserved_for))
        draws += [StoreDraw(id, UUID(lot), quantity) for lot, quantity in taken.items()]
    return draws


def _own_first(
    lots: Sequence[StoredLot], count: Decimal, day: date
) -> tuple[dict[str, Decimal], Decimal]:
    """How much of which lot, and what is missing."""
    promised = [
        replace(lot.pickable, available=min(lot.own, lot.pickable.available)) for lot in lots
    ]
    first = pick(promised, count, day)
    taken: dict[str, Decimal] = {one.lot: one.quantity for one in first.picks}
    rest = [
        replace(
            lot.pickable,
            available=lot.pickable.available - taken.get(lot.pickable.lot, Decimal(0)),
        )
        for lot in lots
    ]
    second = pick(rest, first.short, day)
    for one in second.picks:
        taken[one.lot] = taken.get(one.lot, Decimal(0)) + one.quantity
    return taken, second.short


def moves_of(actor: Actor, draws: Iterable[StoreDraw]) -> list[Move]:
    """The draws as moves from the store into making, costed by the ledger itself."""
    store = account(actor, Account.Kind.STORE, "store")
    making = account(actor, Account.Kind.MAKING, "making")
    return [Move(store, making, draw.lot_id, draw.quantity) for draw in draws]


def check_costed(posted: Posted, draws: Sequence[StoreDraw], first: int) -> None:
    """The ledger took what was foreseen; else the made lot would carry another cost.

    `first` is the place of the first draw among the entry's moves.
    """
    values = posted.values[first : first + len(draws)]
    if values != [draw.value for draw in draws]:
        raise RuntimeError(f"The ledger costed the draws of entry {posted.entry_id} otherwise.")


def dates_of_made(
    made_on: date, shelf_life_days: int | None, inputs: Iterable[Any]
) -> tuple[date | None, str]:
    """The last day of what is made, and by which lot where that is not the shelf life.

    Each input has its `lot`. Never beyond the earliest input's last day, and never before the day
    it was made: what was made with a lot past its date, by a deviation, may be used on that day
    alone until somebody decides otherwise. How long an open container is good says nothing of
    what was taken from it in time and is preserved anew, so it sets no date here.
    """
    shelf = None if shelf_life_days is None else made_on + timedelta(days=shelf_life_days)
    days = [(last_usable_day(one.lot, None), one.lot) for one in inputs]
    dated = [(day, lot) for day, lot in days if day is not None]
    if not dated:
        return shelf, ""
    day, lot = min(dated, key=lambda pair: (pair[0], pair[1].code))
    if shelf is not None and shelf <= day:
        return shelf, ""
    return max(day, made_on), f"By lot {lot.code}, which may be used until {day}."


def issue_samples(
    actor: Actor,
    lot: Lot,
    samples: Sequence[Sample],
    *,
    happened_at: datetime,
    details: Mapping[str, str],
) -> UUID | None:
    """Issue samples of a made lot at unit cost, in one entry; None for no samples.

    Each purpose has an account of its own, as with any issue, so that a trace tells what was
    retained from what was given away (ISO 22716, 9.6). Samples may be taken from a lot in
    quarantine: they are how it is decided on. Raises Invalid for no reason, NotEnough for more
    samples than were made.
    """
    if not samples:
        return None
    store = account(actor, Account.Kind.STORE, "store")
    purposes = list(dict.fromkeys(sample.purpose for sample in samples))
    places = {one: open_account(actor, ISSUED[one], one) for one in purposes}
    moves, lines = [], []
    for place, sample in enumerate(samples):
        if not sample.reason.strip():
            raise Invalid("Say what the sample is for.", pointer=f"/samples/{place}/reason")
        with placed(f"/samples/{place}/quantity"):
            measured = measure(sample.quantity, lot.material, density_of(lot))
        moves.append(Move(store, places[sample.purpose], lot.id, measured.quantity))
        lines.append({**measured.facts(), "reason": sample.reason, "purpose": sample.purpose})
    with placed("/samples", NotEnough):
        posted = post_entry(
            actor,
            kind=Entry.Kind.ISSUE,
            happened_at=happened_at,
            moves=moves,
            reason="; ".join(sample.reason for sample in samples)[:400],
            details={
                **details,
                "purpose": purposes[0] if len(purposes) == 1 else "sample",
                "lines": lines,
            },
        )
    return posted.entry_id
