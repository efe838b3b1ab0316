"""What the worker runs for the API."""

from typing import Any

from api import idempotency, long_lists, signing
from api.order_mail import mail_order
from ledger import outbox
from ledger.ordering import MAIL_ORDER
from ledger.tasks import task

# Only here is it known how an order is drawn.
outbox.does(MAIL_ORDER)(mail_order)


@task("api.forget")
def forget(**kwargs: Any) -> None:
    """Forget answers that are too old to be replayed, old lists, and tokens that have expired."""
    idempotency.forget()
    long_lists.forget()
    signing.forget()
