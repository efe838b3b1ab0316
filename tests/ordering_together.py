"""What a round of orders needs in tests: a coordinator, offers to all, and the worker's work."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

from ledger.access import Actor, acting_as
from ledger.catalogue import add_supplier
from ledger.models import Material, OrderRound, Outbox, RoundPledge
from ledger.offering import PriceFacts, TermsFacts, add_offer, set_supplier_terms
from ledger.outbox import Work
from ledger.quantities import parse_quantity
from ledger.round_buyers import answer_as_buyer
from ledger.rounds import open_round, pledge
from tests.factories import MORNING, TODAY, D, Workshop

EVENING = MORNING + timedelta(hours=10)


def coordinator(shop: Workshop) -> Actor:
    """Who acts for the shop's co-op."""
    return replace(shop.actor, maker_id=None, role="coordinator")


def does(actor: Actor, verb: Callable[..., Any], **facts: Any) -> Any:
    """One verb in a transaction of its own."""
    with acting_as(actor):
        return verb(actor, **facts)


def opened(shop: Workshop, **facts: Any) -> OrderRound:
    """A round of which the shop is the buyer, and agrees; in the morning until the evening."""
    found = asked(shop, **facts)
    shop.does(answer_as_buyer, round=found.id, agrees=True, now=MORNING)
    return found


def asked(shop: Workshop, **facts: Any) -> OrderRound:
    """The same, before the shop has answered."""
    about = {"name": "Spring", "buyer": shop.actor.maker, "closes_at": EVENING, "now": MORNING}
    found: OrderRound = does(coordinator(shop), open_round, **{**about, **facts})
    return found


def offered(shop: Workshop) -> Material:
    """A material in packs of 5 kg for 40.00 and freight of 28.00, offered to all."""
    actor, material = coordinator(shop), shop.material("Oil to share")
    supplier = does(actor, add_supplier, name="Bulk oils")
    about = {"supplier": supplier.id, "opened": True}
    price, pack = PriceFacts(TODAY, D(40)), parse_quantity("5 kg")
    does(actor, add_offer, material=material.id, pack=pack, price=price, **about)
    terms = TermsFacts(TODAY, freight_kind="flat", freight=D(28))
    does(actor, set_supplier_terms, terms=terms, **about)
    return material


def pledged(
    shop: Workshop, round: OrderRound, material: Material, quantity: str, **facts: Any
) -> RoundPledge:
    facts = {"now": MORNING, **facts}
    typed = parse_quantity(quantity)
    return shop.does(pledge, round=round.id, material=material.id, quantity=typed, **facts)


def owed(buyer: Workshop, round: OrderRound) -> Work:
    """The work of closing a round, as a worker has claimed it."""
    row = buyer.does(lambda actor: Outbox.objects.get(subject=round.id))
    return Work(row.coop_id, row.maker_id, row.id, row.task, row.subject, 1)
