"""What the working of a figure is told from.

It is loaded level by level: batches and fills, then what their inputs came from, and so on, in a
fixed number of queries for each level.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import F

from formulas.access import standing
from formulas.models import Batch, ByProduct, Emptying, Filling, Making, Weighing
from ledger.access import Actor
from ledger.models import (
    DecantingDraw,
    Entry,
    LayerPosting,
    Lot,
    Posting,
    ReceiptLine,
    Transfer,
)

# A merged layer (moving average) holds what many receipts cost; the newest of them are told.
RECEIPTS_TOLD: Final = 20
# What had gone into a layer by the time that an entry took from it.
_INTO_LAYERS: Final = """
select taken.layer, taken.entry, p.lot_id
  from unnest(%(layers)s::uuid[], %(entries)s::uuid[]) taken(layer, entry)
  cross join lateral (
    select lp.entry_id, lp.line from ledger_layerposting lp
      where lp.coop_id = %(coop)s and lp.layer_id = taken.layer and lp.quantity > 0
        and lp.entry_id < taken.entry
      order by lp.entry_id desc limit %(told)s) a
  join ledger_posting p
    on p.coop_id = %(coop)s and p.entry_id = a.entry_id and p.line in (2 * a.line - 1, 2 * a.line)
   and p.quantity > 0
  order by taken.layer, taken.entry, a.entry_id
"""


@dataclass(slots=True)
class Known:
    """All that was loaded, by what it belongs to.

    `drawn` is what a finish or a fill took from the store, and `received` the lots that had gone
    into a merged layer before an entry took from it.
    """

    batches: dict[UUID, Batch] = field(default_factory=dict)
    weighings: dict[UUID, list[Weighing]] = field(default_factory=lambda: defaultdict(list))
    values: dict[UUID, Decimal] = field(default_factory=dict)
    drawn: dict[UUID, list[Posting]] = field(default_factory=dict)
    layers: dict[tuple[UUID, int], list[LayerPosting]] = field(
        default_factory=lambda: defaultdict(list)
    )
    received: dict[tuple[UUID, UUID], list[UUID]] = field(default_factory=lambda: defaultdict(list))
    lots: dict[UUID, Lot] = field(default_factory=dict)
    receipt_lines: dict[UUID, ReceiptLine] = field(default_factory=dict)
    makings: dict[UUID, Making] = field(default_factory=dict)
    by_products: dict[UUID, ByProduct] = field(default_factory=dict)
    emptyings: dict[UUID, Emptying] = field(default_factory=dict)
    fillings: dict[UUID, Filling] = field(default_factory=dict)
    decanted: dict[UUID, DecantingDraw] = field(default_factory=dict)
    moved: dict[UUID, list[Transfer]] = field(default_factory=lambda: defaultdict(list))


def known_of_batch(actor: Actor, batch: UUID) -> Known:
    """All that the working of a batch is told from."""
    known = Known()
    _load(actor, {batch}, known)
    _load_below(actor, known)
    return known


def known_of_lot(actor: Actor, lot: UUID) -> Known:
    """All that the working of what a lot cost is told from."""
    known = Known()
    _load_lots({lot}, known)
    _load_below(actor, known)
    return known


def _load_below(actor: Actor, known: Known) -> None:
    """Load, level by level, the batches and fills that the lots met so far came from."""
    while True:
        batches = {making.batch_id for making in known.makings.values()} - known.batches.keys()
        fills = {filling.entry_id for filling in known.fillings.values()} - known.drawn.keys()
        if not batches and not fills:
            return
        _load(actor, batches, known, fills)


def _load(
    actor: Actor, wanted: set[UUID], known: Known, fills: frozenset[UUID] | set[UUID] = frozenset()
) -> None:
    """Load one level: these batches and fills, what went into them, and where that came from."""
    rows = Batch.objects.select_related("version__formula", "product", "making__person")
    batches = {row.id: row for row in rows.filter(id__in=wanted)}
    known.batches |= batches
    weighings = standing(Weighing.objects.filter(batch_id__in=wanted))
    for row in weighings.select_related("lot__material", "person").order_by("id"):
        known.weighings[row.batch_id].append(row)
    entries = {row.entry_id for id in wanted for row in known.weighings[id]}
    accounts = [row.account_id for row in batches.values()]
    into = Posting.objects.filter(
        coop_id=actor.coop_id, entry_id__in=entries, account_id__in=accounts
    )
    known.values |= dict(into.values_list("entry_id", "value"))
    made = {row.making.entry_id for row in batches.values() if row.making} | fills
    known.drawn |= {entry: [] for entry in made}
    drawn = Posting.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, entry_id__in=made, account__kind="store", quantity__lt=0
    )
    for posting in drawn.order_by("line"):
        known.drawn[posting.entry_id].append(posting)
    _load_layers(actor, entries | made, known)
    _load_origins(known)


def _load_layers(actor: Actor, entries: set[UUID], known: Known) -> None:
    """The layers that were taken from, and for merged ones what had gone into them by then."""
    rows = LayerPosting.objects.select_related("layer").filter(
        coop_id=actor.coop_id, entry_id__in=entries, quantity__lt=0
    )
    merged: set[tuple[UUID, UUID]] = set()
    for row in rows.order_by("entry_id", "line", "layer__ordinal"):
        known.layers[row.entry_id, row.line].append(row)
        if row.layer.lot_id is None:
            merged.add((row.layer_id, row.entry_id))
    if not merged:
        return
    with connection.cursor() as cursor:
        cursor.execute(
            _INTO_LAYERS,
            {
                "layers": [layer for layer, _ in merged],
                "entries": [entry for _, entry in merged],
                "coop": actor.coop_id,
                "told": RECEIPTS_TOLD,
            },
        )
        for layer, entry, lot in cursor:
            known.received[layer, entry].append(lot)


def _load_origins(known: Known) -> None:
    """Where every lot met so far came from: a receipt line, a batch, a fill."""
    wanted: set[UUID | None] = set()
    wanted |= {row.lot_id for rows in known.weighings.values() for row in rows}
    wanted |= {row.lot_id for rows in known.drawn.values() for row in rows}
    wanted |= {row.layer.lot_id for rows in known.layers.values() for row in rows}
    wanted |= {lot for lots in known.received.values() for lot in lots}
    _load_lots({id for id in wanted if id is not None}, known)


def _load_lots(wanted: set[UUID], known: Known) -> None:
    """Lots with what they came from, and for filled ones the bulk too."""
    new = wanted - known.lots.keys()
    lots = Lot.objects.select_related("material", "supplier").filter(id__in=new)
    known.lots |= {row.id: row for row in lots}
    lines = ReceiptLine.objects.select_related("receipt").prefetch_related("shares__charge")
    known.receipt_lines |= {row.lot_id: row for row in lines.filter(lot_id__in=new)}
    made = Making.objects.filter(lot_id__in=new, batch__making=F("id"))
    known.makings |= {row.lot_id: row for row in made}
    beside = ByProduct.objects.select_related("making__batch").filter(lot_id__in=new)
    known.by_products |= {row.lot_id: row for row in beside}
    filled = Filling.objects.select_related("product").filter(lot_id__in=new)
    known.fillings |= {row.lot_id: row for row in filled}
    emptied = Emptying.objects.filter(bulk_lot_id__in=new)
    known.emptyings |= {row.bulk_lot_id: row for row in emptied}
    drawn = DecantingDraw.objects.select_related("decanting").filter(lot_id__in=new)
    known.decanted |= {row.lot_id: row for row in drawn}
    # Of the two entries of a move only one's own is there to be seen.
    moved = Transfer.objects.filter(lot_id__in=new, in_entry__kind=Entry.Kind.TRANSFER_IN)
    for row in moved.select_related("maker").order_by("id"):
        known.moved[row.lot_id].append(row)
    below = {row.bulk_lot_id for row in known.fillings.values()}
    below |= {row.decanting.lot_id for row in known.decanted.values()}
    below |= {row.lot_id for row in known.emptyings.values()}
    if below - known.lots.keys():
        _load_lots(below - known.lots.keys(), known)
