"""Two deliveries come at once for what is still open of an order: one of them is told it is over.

Both have come, so both are received; how much too much it is, is counted once and told to one.
"""

import uuid
from collections.abc import Callable
from contextlib import ExitStack
from decimal import Decimal

import psycopg
import pytest

from deploy.embedded import Server
from ledger.access import Actor, acting_as
from ledger.catalogue import add_supplier
from ledger.models import OnOrder, PurchaseOrder
from ledger.order_matching import Against
from ledger.order_reading import over
from ledger.ordering import Ordered, end_order, write_order
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from tests.ledger.bench import now
from tests.ledger.books import Books
from tests.races.crowd import all_at_once, rewritten

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def an_order(books: Books) -> PurchaseOrder:
    """A kilogram is still to come."""
    with acting_as(books.actor):
        seller = add_supplier(books.actor, name="Oils by the drum")
        line = Ordered(str(books.material.id), parse_quantity("1 kg"), D(5))
        return write_order(books.actor, supplier=seller.id, lines=[line], happened_at=now())


def deliver(books: Books, order: PurchaseOrder, line: str | None) -> Against | None:
    """Receive a kilogram for a line, or as not ordered."""
    with acting_as(books.actor):
        delivered = Delivered(
            material=str(books.material.id),
            supplier_lot="S-1",
            quantity=parse_quantity("1 kg"),
            price=D(5),
            order_line=line,
        )
        received = receive(
            books.actor,
            supplier=order.supplier_id,
            lines=[delivered],
            charges=[],
            happened_at=now(),
            order=order.id,
        )
    (against,) = received.against
    return against


def receiving(books: Books, order: PurchaseOrder) -> Callable[[], D]:
    """Receive the kilogram; how much too much that made it."""
    with acting_as(books.actor):
        (line,) = order.lines.all()

    def work() -> D:
        against = deliver(books, order, str(line.id))
        assert against is not None
        return over(against.standing)

    return work


def standing(books: Books, order: PurchaseOrder) -> OnOrder:
    with acting_as(books.actor):
        return OnOrder.objects.get(order=order)


def test_one_is_told_that_it_is_over() -> None:
    for _ in range(5):
        books = Books()
        order = an_order(books)
        done = all_at_once([receiving(books, order)] * 2)
        assert [one for one in done if isinstance(one, Exception)] == []
        assert {0, 1000} == {*done}
        assert standing(books, order).received == 2000
        assert books.disagreements() == []


def unnumbered(actor: Actor, count: int) -> list[str]:
    """Codes of lots that nobody has to wait for."""
    return [uuid.uuid4().hex[:12] for _ in range(count)]


def test_without_the_locks_one_is_forgotten(
    database: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control: each looks at what has come before either adds to it.

    Whoever receives waits for the pool, and before that for the number of its lots.
    """
    monkeypatch.setattr("ledger.lots.next_lot_codes", unnumbered)
    lock = {"order by p.material_id for update": "order by p.material_id"}
    blind = {
        "set received = o.received + new.quantity": (
            "set received = (select s.received from ledger_onorder s, pg_sleep(0.3)"
            " where s.coop_id = new.coop_id and s.line_id = new.order_line_id) + new.quantity"
        )
    }
    books = Books("lot")
    order = an_order(books)
    # The supplier's account is there, so that neither waits for the other's.
    deliver(books, order, None)
    with ExitStack() as stack:
        for function in ("ledger_post_entry", "ledger_lock_pools"):
            stack.enter_context(rewritten(database, function, lock))
        stack.enter_context(rewritten(database, "ledger_take_off_order", blind))
        done = all_at_once([receiving(books, order)] * 2)
    failed = [one for one in done if isinstance(one, Exception)]
    if not failed:
        assert standing(books, order).received < 2000
        assert books.disagreements()
        # What was forgotten is put right: others verify all that is in this database.
        with psycopg.connect(database.url_admin) as admin:
            put = "update ledger_onorder set received = 2000 where coop_id = %s and order_id = %s"
            admin.execute(put, [order.coop_id, order.id])
        assert books.disagreements() == []


def test_an_order_ends_while_its_goods_come() -> None:
    """Whichever is first, all that came is counted, nothing is open, and nobody waits for ever."""
    for _ in range(5):
        books = Books()
        order = an_order(books)

        def end(books: Books = books, order: PurchaseOrder = order) -> D:
            with acting_as(books.actor):
                end_order(books.actor, order=order.id, reason="out of it", happened_at=now())
            return D(0)

        came, ended = all_at_once([receiving(books, order), end])
        assert came == 0
        # Nothing is left to end where the goods came first.
        assert ended == 0 or "Nothing of this is open" in str(ended)
        assert standing(books, order).quantity == 0
        assert books.disagreements() == []
