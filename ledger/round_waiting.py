"""What waits for a maker in order rounds, all of it asked in one query.

It may still pledge; it is asked to buy for all; what came is to be handed out; a bill that came
after that is to be shared; what it was handed costs more than it has named as its highest price; or
a pledge took no part, since it would have cost more than that. Each is settled by a verb of its own
(`ledger.rounds`, `ledger.round_buyers`, `ledger.round_handing`, `ledger.round_late_bills`); the one
before the last is disputed or paid (`ledger.settling`), and what took no part is ordered by oneself
(`ledger.ordering`) or waits no more after a week.
"""

from collections.abc import Sequence, Set
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import reduce
from operator import or_
from typing import Any, Final

from django.db.models import (
    BooleanField,
    CharField,
    Exists,
    OuterRef,
    Q,
    Subquery,
    UUIDField,
    Value,
)
from django.db.models.expressions import Combinable, RawSQL
from django.db.models.functions import Coalesce

from ledger.access import Actor
from ledger.models import (
    BillLine,
    Entry,
    OnOrder,
    OrderRound,
    PurchaseOrderLine,
    ReceiptLine,
    RoundBuyerAnswer,
    RoundClosing,
    RoundHandOut,
    RoundLateBill,
    RoundOutcome,
    RoundPlacement,
    RoundPledge,
    RoundShareLine,
)
from ledger.roles import Verb
from ledger.round_pledges import WhyDropped
from ledger.rounds import rounds_of

NEVER: Final = Value(False, output_field=BooleanField())
# So many rounds never wait at a time: each lasts some days.
MOST_IN_ALL: Final = 200
A_MONTH: Final = timedelta(days=30)
A_WEEK: Final = timedelta(days=7)
# Of what a maker was handed in a round, by which movement it owes the first that costs more than
# its highest price. The rule itself is asked of `ledger_round_above_highest`. Who has recorded a
# payment since has seen it, on whatever day that is said to have been paid.
ABOVE: Final = """
select v.id
  from (select %s::uuid) own(maker)
  join ledger_roundhandout h on h.coop_id = %s and h.round_id = ledger_orderround.id
    and h.happened_at > %s
  join ledger_roundportion p on p.coop_id = h.coop_id and p.hand_out_id = h.id
    and p.to_maker_id = own.maker and p.maker_id <> own.maker
  join ledger_movement v on v.coop_id = p.coop_id and v.transfer_id = p.transfer_id
    and v.kind = 'goods'
  where not exists (
      select from ledger_disputed d where d.coop_id = v.coop_id and d.movement_id = v.id)
    and not exists (
      select from ledger_movement later
        where later.coop_id = v.coop_id and later.kind in ('payment', 'clearing')
          and later.recorded_at > v.recorded_at
          and (later.maker_id, later.to_maker_id)
            in ((v.maker_id, v.to_maker_id), (v.to_maker_id, v.maker_id)))
    and p.material_id in (
      select a.material_id
        from (select jsonb_agg(to_jsonb(one)) as parts
                from (select q.to_maker_id as maker, q.material_id as material,
                             sum(q.quantity) as quantity, sum(q.amount) as amount
                        from ledger_roundportion q
                        where q.coop_id = h.coop_id and q.hand_out_id = h.id
                          and q.to_maker_id = own.maker
                        group by q.to_maker_id, q.material_id) one) told
        cross join lateral ledger_round_above_highest(h.round_id, told.parts) a
        where a.maker_id = own.maker)
  order by v.id
  limit 1
"""


@dataclass(frozen=True, slots=True)
class Waiting:
    """Rounds by what waits in them, each in the order of closing.

    In those `to_pledge` in, a round has `pledged`: whether the maker has. In those of `asked` it is
    to buy, and has not answered. It has received what is to come of those `to_hand_out`, and what
    was billed for those `to_share` is not shared yet. Of those that came `above` its highest price
    that is the id of the movement by which it owes more. Of those where a pledge was `too_dear` for
    it that is the name of the first material of which it gets nothing. `more` has the names of the
    lists that are cut.
    """

    to_pledge: Sequence[OrderRound]
    asked: Sequence[OrderRound]
    to_hand_out: Sequence[OrderRound]
    to_share: Sequence[OrderRound]
    above: Sequence[OrderRound]
    too_dear: Sequence[OrderRound]
    more: Set[str]

    @property
    def lists(self) -> tuple[Sequence[OrderRound], ...]:
        """All of them."""
        owed = (self.to_pledge, self.asked, self.to_hand_out, self.to_share)
        return *owed, self.above, self.too_dear


def rounds_waiting(actor: Actor, *, now: datetime, most: int) -> Waiting:
    """What waits for the maker, so much of each at most. Raises Forbidden."""
    waits: dict[str, Any] = {
        "to_pledge": _to_pledge(actor, now),
        "asked": _asked(actor),
        "to_hand_out": _to_hand_out(actor),
        "to_share": _to_share(actor),
        "above": _above(actor, now),
        "too_dear": _too_dear(actor, now),
    }
    own = RoundPledge.objects.filter(maker_id=actor.maker, round_id=OuterRef("id"))
    rows = rounds_of(actor).annotate(known_until=_known_until(actor), pledged=Exists(own))
    in_list = [Q(**{name: True}) for name in ("to_pledge", "asked", "to_hand_out", "to_share")]
    in_list += [Q(**{f"{name}__isnull": False}) for name in ("above", "too_dear")]
    rows = rows.annotate(**waits).filter(reduce(or_, in_list)).order_by("closes_at", "id")
    found = list(rows[:MOST_IN_ALL])
    lists = {name: [row for row in found if getattr(row, name)] for name in waits}
    # Where not all could be read, nobody knows which list goes on: it is said of each.
    all_read = len(found) < MOST_IN_ALL
    more = {name for name, rows in lists.items() if len(rows) > most or not all_read}
    return Waiting(**{name: rows[:most] for name, rows in lists.items()}, more=more)


def waits_to_be_handed_out(actor: Actor, round: OrderRound) -> bool:
    """Whether all has come that the maker is to hand out of this round. Raises Forbidden."""
    rows = rounds_of(actor).annotate(to_hand_out=_to_hand_out(actor))
    return rows.filter(id=round.id, to_hand_out=True).exists()


def _to_pledge(actor: Actor, now: datetime) -> Combinable | Q:
    if not actor.may(Verb.PLEDGE):
        return NEVER
    closed = RoundClosing.objects.filter(coop_id=actor.coop_id, round_id=OuterRef("id"))
    return Q(~Exists(closed), closes_at__gt=now)


def _asked(actor: Actor) -> Combinable | Q:
    """Whether the maker is to answer; not where nothing is ordered in any case."""
    if not actor.may(Verb.ORDER):
        return NEVER
    of_round = {"coop_id": actor.coop_id, "round_id": OuterRef("id")}
    answered = RoundBuyerAnswer.objects.filter(**of_round, asked=OuterRef("asked_number"))
    empty = RoundOutcome.objects.filter(**of_round, makers=0, together=0)
    return Q(~Exists(answered), ~Exists(empty), buying_id=actor.maker)


def _to_hand_out(actor: Actor) -> Combinable | Q:
    """Whether the maker wrote the orders and has received what is to come, and keeps it yet."""
    if not actor.may(Verb.TRANSFER):
        return NEVER
    own = _own(actor)
    placed = RoundPlacement.objects.filter(**own, order__round_id=OuterRef("id"))
    orders = RoundPlacement.objects.filter(**own, order__round_id=OuterRef(OuterRef("id")))
    written = orders.values("purchase_order_id")
    to_come = OnOrder.objects.filter(**own, order_id__in=written, any_left=True)
    came = ReceiptLine.objects.filter(**own, order_line__order_id__in=written)
    done = RoundHandOut.objects.filter(coop_id=actor.coop_id, round_id=OuterRef("id"))
    return Q(Exists(placed), Exists(came), ~Exists(to_come), ~Exists(done))


def _to_share(actor: Actor) -> Combinable | Q:
    """Whether a bill was booked since the maker handed out and shared, and stands; or one of which
    the others have paid their part was taken back."""
    if not actor.may(Verb.BILL):
        return NEVER
    own, of_coop = _own(actor), {"coop_id": actor.coop_id}
    orders = RoundPlacement.objects.filter(**own, order__round_id=OuterRef(OuterRef("id")))
    undone = Entry.objects.filter(
        **of_coop,
        reverses_id=OuterRef("bill__entry_id"),
        recorded_at__gt=OuterRef(OuterRef("known_until")),
    )
    billed = BillLine.objects.filter(
        **own, line__order_line__order_id__in=orders.values("purchase_order_id")
    ).annotate(
        new=Q(bill__entry__recorded_at__gt=OuterRef("known_until")), taken_back=Exists(undone)
    )
    late = Q(new=True, taken_back=False) | Q(new=False, taken_back=True)
    return Q(Exists(billed.filter(late)))


def _above(actor: Actor, now: datetime) -> Combinable:
    """By which movement the maker owes more than its highest price, if it has neither disputed it
    nor paid since; those of long ago wait no more."""
    if not actor.may(Verb.SETTLE):
        return Value(None, output_field=UUIDField())
    facts = [actor.maker, actor.coop_id, now - A_MONTH]
    return RawSQL(ABOVE, facts, output_field=UUIDField())  # noqa: S611 - facts are parameters


def _too_dear(actor: Actor, now: datetime) -> Subquery | Value:
    """Of what the maker gets nothing in a round reckoned of late, as it would have cost more than
    its highest price or than alone; not if it has ordered that since, other than for the round."""
    if not actor.may(Verb.PLEDGE):
        return Value(None, output_field=CharField())
    own = _own(actor)
    since = RoundOutcome.objects.filter(
        coop_id=actor.coop_id, round_id=OuterRef("round_id"), reckoned_at__gt=now - A_WEEK
    )
    for_all = RoundPlacement.objects.filter(**own, purchase_order_id=OuterRef("order_id"))
    ordered = PurchaseOrderLine.objects.filter(
        ~Exists(for_all),
        **own,
        material_id=OuterRef("material_id"),
        order__written_at__gt=OuterRef("reckoned_at"),
    )
    left_over = RoundShareLine.objects.filter(
        **own,
        round_id=OuterRef("round_id"),
        material_id=OuterRef("material_id"),
        leftover__gt=0,
    )
    dropped = RoundShareLine.objects.filter(
        **own, round_id=OuterRef("id"), dropped=WhyDropped.TOO_DEAR
    ).annotate(reckoned_at=Subquery(since.values("reckoned_at")[:1]))
    waits = dropped.filter(~Exists(ordered), ~Exists(left_over), reckoned_at__isnull=False)
    return Subquery(waits.order_by("material__name").values("material__name")[:1])


def _known_until(actor: Actor) -> Coalesce:
    """Up to when all that was billed is paid by all; None for a round that is not handed out."""
    done = RoundHandOut.objects.filter(coop_id=actor.coop_id, round_id=OuterRef("id"))
    shared = RoundLateBill.objects.filter(
        coop_id=actor.coop_id, hand_out__round_id=OuterRef("id")
    ).order_by("-recorded_at")
    at = "recorded_at"
    return Coalesce(Subquery(shared.values(at)[:1]), Subquery(done.values(at)))


def _own(actor: Actor) -> dict[str, Any]:
    return {"coop_id": actor.coop_id, "maker_id": actor.maker}
