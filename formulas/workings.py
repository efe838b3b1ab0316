"""What the working of a figure is told from.

All that lies under a batch or a lot is found by one statement, whatever the depth, and then loaded
by a few queries more, whatever kinds of it are there.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import OuterRef, Subquery

from formulas.access import standing
from formulas.models import Batch, Filling, Making, Weighing
from formulas.origins import Origins, origins
from ledger.access import Actor
from ledger.errors import NotFound
from ledger.models import LayerPosting, Lot, Posting, ReceiptLine

# A merged layer (moving average) holds what many receipts cost; the newest of them are told.
RECEIPTS_TOLD: Final = 20
# What an entry took from a layer: of a merged one, the lots that had gone into it by then.
_TAKEN: Final = """
ledger_layerposting t
  join ledger_layer y on y.coop_id = t.coop_id and y.id = t.layer_id
  left join lateral (
    select p.lot_id, a.entry_id from (
      select lp.entry_id, lp.line from ledger_layerposting lp
        where lp.coop_id = t.coop_id and lp.layer_id = t.layer_id and lp.quantity > 0
          and lp.entry_id < t.entry_id
        order by lp.entry_id desc limit %(told)s) a
    join ledger_posting p on p.coop_id = t.coop_id and p.entry_id = a.entry_id
     and p.line in (2 * a.line - 1, 2 * a.line) and p.quantity > 0
  ) i on y.lot_id is null
  where n.kind = 'entry' and t.coop_id = %(coop)s and t.entry_id = n.id and t.quantity < 0
"""
# Step by step: of a batch its entries, of an entry the lots that it took, of a lot what made it.
_BELOW: Final = """
with recursive node(kind, id) as (
  select %(kind)s::text, %(start)s::uuid
  union
  select f.kind, f.id from node n cross join lateral (
    select 'entry' as kind, w.entry_id as id from formulas_weighing w
      where n.kind = 'batch' and w.coop_id = %(coop)s and w.batch_id = n.id
    union all
    select 'entry', m.entry_id from formulas_batch b
      join formulas_making m on m.coop_id = b.coop_id and m.id = b.making_id
      where n.kind = 'batch' and b.coop_id = %(coop)s and b.id = n.id
    union all
    select 'lot', p.lot_id from ledger_posting p
      where n.kind = 'entry' and p.coop_id = %(coop)s and p.entry_id = n.id and p.quantity < 0
    union all
    select 'lot', coalesce(y.lot_id, i.lot_id) from TAKEN
    union all
    select 'batch', b.id from formulas_making m
      join formulas_batch b on b.coop_id = m.coop_id and b.making_id = m.id
      where n.kind = 'lot' and m.coop_id = %(coop)s and m.lot_id = n.id
    union all
    select u.kind, u.id from formulas_filling g
      cross join lateral (values
        ('filling', g.id), ('entry', g.entry_id), ('lot', g.bulk_lot_id)) u(kind, id)
      where n.kind = 'lot' and g.coop_id = %(coop)s and g.lot_id = n.id
    union all
    select u.kind, u.id from formulas_emptying g
      cross join lateral (values ('emptying', g.id), ('lot', g.lot_id)) u(kind, id)
      where n.kind = 'lot' and g.coop_id = %(coop)s and g.bulk_lot_id = n.id
    union all
    select u.kind, u.id from ledger_decantingdraw g
      join ledger_decanting d on d.coop_id = g.coop_id and d.id = g.decanting_id
      cross join lateral (values ('decanted', g.id), ('lot', d.lot_id)) u(kind, id)
      where n.kind = 'lot' and g.coop_id = %(coop)s and g.lot_id = n.id
    union all
    select 'by_product', g.id from formulas_byproduct g
      where n.kind = 'lot' and g.coop_id = %(coop)s and g.lot_id = n.id
    union all
    select u.kind, u.id from formulas_jointproduct g
      join formulas_making m on m.coop_id = g.coop_id and m.id = g.making_id
      cross join lateral (values ('joint_product', g.id), ('lot', m.lot_id)) u(kind, id)
      where n.kind = 'lot' and g.coop_id = %(coop)s and g.lot_id = n.id and g.position > 0
    union all
    select 'received', g.id from ledger_receiptline g
      where n.kind = 'lot' and g.coop_id = %(coop)s and g.lot_id = n.id
    union all
    select 'moved', g.id from ledger_transfer g
      join ledger_entry e on e.coop_id = g.coop_id and e.id = g.in_entry_id
      where n.kind = 'lot' and g.coop_id = %(coop)s and g.lot_id = n.id and e.kind = 'transfer_in'
  ) f where f.id is not null
)
select kind, id, null::uuid, null::uuid, null::uuid from node
union all
select 'into', i.lot_id, t.layer_id, t.entry_id, i.entry_id from node n cross join TAKEN
  and i.lot_id is not null
order by 5
""".replace("TAKEN", _TAKEN)


@dataclass(slots=True)
class Known:
    """All that was loaded, by what it belongs to.

    `drawn` is what a finish or a fill took from the store, and `received` the lots that had gone
    into a merged layer before an entry took from it.
    """

    batches: dict[UUID, Batch] = field(default_factory=dict)
    weighings: dict[UUID, list[Weighing]] = field(default_factory=lambda: defaultdict(list))
    values: dict[UUID, Decimal] = field(default_factory=dict)
    drawn: dict[UUID, list[Posting]] = field(default_factory=lambda: defaultdict(list))
    layers: dict[tuple[UUID, int], list[LayerPosting]] = field(
        default_factory=lambda: defaultdict(list)
    )
    received: dict[tuple[UUID, UUID], list[UUID]] = field(default_factory=lambda: defaultdict(list))
    lots: dict[UUID, Lot] = field(default_factory=dict)
    receipt_lines: dict[UUID, ReceiptLine] = field(default_factory=dict)
    makings: dict[UUID, Making] = field(default_factory=dict)
    fillings: dict[UUID, Filling] = field(default_factory=dict)
    origins: Origins = field(default_factory=dict)


def known_of_batch(actor: Actor, batch: UUID) -> Known:
    """All that the working of a batch is told from. Raises NotFound."""
    known = _known(actor, "batch", batch)
    if batch not in known.batches:
        raise NotFound
    return known


def known_of_lot(actor: Actor, lot: UUID) -> Known:
    """All that the working of what a lot cost is told from."""
    return _known(actor, "lot", lot)


def _known(actor: Actor, kind: str, start: UUID) -> Known:
    known = Known()
    below = _below(actor, kind, start, known)
    _load_batches(below["batch"], known)
    if below["entry"]:
        _load_layers(actor, below["entry"], known)
    _load_lots(actor, below, known)
    made = {row.making.entry_id for row in known.batches.values() if row.making}
    made |= {row.entry_id for row in known.fillings.values()}
    if made:
        drawn = Posting.objects.select_related("lot__material").filter(
            coop_id=actor.coop_id, entry_id__in=made, account__kind="store", quantity__lt=0
        )
        for posting in drawn.order_by("line"):
            known.drawn[posting.entry_id].append(posting)
    return known


def _below(actor: Actor, kind: str, start: UUID, known: Known) -> dict[str, list[UUID]]:
    """The ids of all that lies under it, by kind; what went into merged layers is noted at once."""
    found: dict[str, list[UUID]] = defaultdict(list)
    with connection.cursor() as cursor:
        cursor.execute(
            _BELOW,
            {"kind": kind, "start": start, "coop": actor.coop_id, "told": RECEIPTS_TOLD},
        )
        for what, id, layer, entry, _into in cursor:
            if what == "into":
                known.received[layer, entry].append(id)
            else:
                found[what].append(id)
    return found


def _load_batches(wanted: Iterable[UUID], known: Known) -> None:
    """Batches with what was weighed into them, and the value that each weighing brought."""
    if not wanted:
        return
    rows = Batch.objects.select_related("version__formula", "product", "making__person")
    known.batches |= {row.id: row for row in rows.filter(id__in=wanted)}
    makings = [row.making for row in known.batches.values() if row.making]
    known.makings |= {making.lot_id: making for making in makings}
    into = Posting.objects.filter(
        coop_id=OuterRef("coop_id"),
        entry_id=OuterRef("entry_id"),
        account_id=OuterRef("batch__account_id"),
    )
    weighings = standing(Weighing.objects.filter(batch_id__in=wanted)).annotate(
        brought=Subquery(into.values("value")[:1])
    )
    for row in weighings.select_related("lot__material", "person").order_by("id"):
        known.weighings[row.batch_id].append(row)
        known.values[row.entry_id] = row.brought


def _load_layers(actor: Actor, entries: Iterable[UUID], known: Known) -> None:
    """The layers that were taken from."""
    rows = LayerPosting.objects.select_related("layer").filter(
        coop_id=actor.coop_id, entry_id__in=entries, quantity__lt=0
    )
    for row in rows.order_by("entry_id", "line", "layer__ordinal"):
        known.layers[row.entry_id, row.line].append(row)


def _load_lots(actor: Actor, below: dict[str, list[UUID]], known: Known) -> None:
    """Lots with what they came from."""
    lots = Lot.objects.select_related("material", "supplier").filter(id__in=below["lot"])
    known.lots |= {row.id: row for row in lots}
    if ids := below["received"]:
        lines = ReceiptLine.objects.select_related("receipt")
        known.receipt_lines |= {row.lot_id: row for row in lines.filter(id__in=ids)}
    if ids := below["filling"]:
        filled = Filling.objects.select_related("product").filter(id__in=ids)
        known.fillings |= {row.lot_id: row for row in filled}
    # Of the two entries of a move only one's own is there to be seen.
    known.origins = origins(actor, below)
