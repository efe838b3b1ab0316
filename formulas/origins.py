"""Where lots came from, but for deliveries, fills and batches; and what charges a delivery bore.

All kinds are read by one statement, so that it does not matter how many of them lie under a figure.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.access import Actor
from ledger.statements import run

_ORIGINS: Final = """
select 'by_product', g.lot_id, null::uuid, array[b.code], array[g.nrv], 0::bigint as place
  from formulas_byproduct g
  join formulas_making m on m.coop_id = g.coop_id and m.id = g.making_id
  join formulas_batch b on b.coop_id = m.coop_id and b.id = m.batch_id
 where g.coop_id = %(coop)s and g.id = any (%(by_product)s::uuid[])
union all
select 'joint_product', g.lot_id, m.lot_id, array[b.code, m.joint_base], array[g.value], 0
  from formulas_jointproduct g
  join formulas_making m on m.coop_id = g.coop_id and m.id = g.making_id
  join formulas_batch b on b.coop_id = m.coop_id and b.id = m.batch_id
 where g.coop_id = %(coop)s and g.id = any (%(joint_product)s::uuid[])
union all
select 'emptying', g.bulk_lot_id, g.lot_id, array[g.reason],
       array[g.units, g.grams, g.expensed, g.bulk], 0
  from formulas_emptying g
 where g.coop_id = %(coop)s and g.id = any (%(emptying)s::uuid[])
union all
select 'decanted', g.lot_id, d.lot_id, array[g.entered], array[d.drawn, d.heel, g.share], 0
  from ledger_decantingdraw g
  join ledger_decanting d on d.coop_id = g.coop_id and d.id = g.decanting_id
 where g.coop_id = %(coop)s and g.id = any (%(decanted)s::uuid[])
union all
select 'moved', g.lot_id, null, array[m.name], array[coalesce(g.amount, 0)],
       row_number() over (order by g.id)
  from ledger_transfer g
  join ledger_maker m on m.coop_id = g.coop_id and m.id = g.maker_id
 where g.coop_id = %(coop)s and g.id = any (%(moved)s::uuid[])
union all
select 'charge', n.lot_id, null, array[c.kind, c.spread_by], array[s.amount, c.amount], c.position
  from ledger_receiptline n
  join ledger_chargeshare s on s.coop_id = n.coop_id and s.line_id = n.id
  join ledger_receiptcharge c on c.coop_id = s.coop_id and c.id = s.charge_id
 where n.coop_id = %(coop)s and n.id = any (%(received)s::uuid[])
 order by place
"""
KINDS: Final = ("by_product", "joint_product", "emptying", "decanted", "moved", "received")


@dataclass(frozen=True, slots=True)
class Origin:
    """What a lot came from: the lot `of` which it was taken, if any, and what its kind tells.

    by_product: code of the batch; net realisable value. joint_product: what the batch was made for;
    code of the batch, base of the split; part of the joint cost. emptying: reason; units, grams,
    expensed, bulk. decanted: as entered; drawn in all, heel, share of the cost. moved: who gave it;
    amount. charge: kind, spread by; share, the whole charge.
    """

    of: UUID | None
    words: Sequence[str]
    figures: Sequence[Decimal]


Origins = Mapping[tuple[str, UUID], Sequence[Origin]]


def origins(actor: Actor, wanted: Mapping[str, Sequence[UUID]]) -> Origins:
    """The origins with these ids, and the charges of these lines of deliveries, by kind and lot.

    One query; none where nothing is wanted.
    """
    found: dict[tuple[str, UUID], list[Origin]] = defaultdict(list)
    asked = {kind: list(wanted.get(kind, ())) for kind in KINDS}
    if any(asked.values()):
        rows = run(_ORIGINS, {**asked, "coop": actor.coop_id})
        for kind, lot, of, words, figures, _place in rows:
            found[kind, lot].append(Origin(of, words, figures))
    return found
