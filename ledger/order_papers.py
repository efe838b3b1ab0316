"""An order as it goes to the supplier, now or as it was when its sending was asked for."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from django.db.models import Q

from ledger.access import Actor
from ledger.costing import round_stored
from ledger.models import Coop, Maker, Offer, PurchaseOrder, PurchaseOrderFact, PurchaseOrderLine
from ledger.order_reading import terms_of
from ledger.ordering import order_for
from ledger.roles import Verb

Kind = PurchaseOrderFact.Kind


@dataclass(frozen=True, slots=True)
class PaperLine:
    """A line, what was last said of it, and whether nothing more of it is expected.

    `article_code` is the supplier's for such a pack, if it offers one.
    """

    line: PurchaseOrderLine
    terms: PurchaseOrderLine | PurchaseOrderFact
    ended: bool
    article_code: str = ""


@dataclass(frozen=True, slots=True)
class OrderPaper:
    """What stands on the order: who orders, by when it was written, and its lines."""

    order: PurchaseOrder
    maker: Maker
    coop: Coop
    lines: Sequence[PaperLine]

    @property
    def total(self) -> Decimal:
        """What was agreed for all that is still wanted."""
        wanted = [line.terms.price or Decimal(0) for line in self.lines if not line.ended]
        return sum(wanted, Decimal(0))


@dataclass(frozen=True, slots=True)
class Sending:
    """A mail that was asked for; `answer_to` is the address of whoever asked, if there is one."""

    fact: PurchaseOrderFact
    paper: OrderPaper
    answer_to: str


def paper_for(actor: Actor, order: UUID | str) -> OrderPaper:
    """An order of the maker's as it stands. Raises NotFound, Forbidden."""
    actor.must(Verb.SEE_COSTS)
    found = order_for(actor, order)
    return _paper(found, list(found.facts.order_by("id")))


def sending_of(fact: UUID) -> Sending:
    """What a sending that was asked for is to carry, within the maker's walls."""
    asked = PurchaseOrderFact.objects.select_related("order__supplier", "person").get(id=fact)
    told = list(asked.order.facts.filter(id__lte=asked.id).order_by("id"))
    return Sending(asked, _paper(asked.order, told), asked.person.email)


def _paper(order: PurchaseOrder, facts: Sequence[PurchaseOrderFact]) -> OrderPaper:
    lines, codes = order.lines.select_related("material").order_by("position"), _codes(order)
    told = [(line, terms_of(line, facts)) for line in lines]
    return OrderPaper(
        order,
        Maker.objects.get(id=order.maker_id),
        Coop.objects.get(id=order.coop_id),
        [
            PaperLine(line, terms, _ended(line, facts), codes.get(_pack(line, terms), ""))
            for line, terms in told
        ],
    )


def _codes(order: PurchaseOrder) -> dict[tuple[UUID, Decimal], str]:
    """The supplier's article codes, by the material and what a pack of it holds."""
    offers = Offer.objects.filter(
        Q(maker=None) | Q(maker=order.maker_id), coop_id=order.coop_id, supplier=order.supplier_id
    )
    rows = offers.order_by("id").values_list("material_id", "quantity", "article_code")
    return {(material, quantity): code for material, quantity, code in rows if code}


def _pack(
    line: PurchaseOrderLine, terms: PurchaseOrderLine | PurchaseOrderFact
) -> tuple[UUID, Decimal]:
    held = Fraction(terms.quantity or 0) / (terms.packs or 1)
    return line.material_id, round_stored(held)


def _ended(line: PurchaseOrderLine, facts: Sequence[PurchaseOrderFact]) -> bool:
    """Whether what was last said of a line is that nothing more is expected."""
    about = [
        fact.kind
        for fact in facts
        if fact.line_id in (line.id, None) and fact.kind in (Kind.CORRECTED, Kind.ENDED)
    ]
    return bool(about) and about[-1] == Kind.ENDED
