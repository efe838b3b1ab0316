"""What the worker runs for the API."""

from typing import Any

from api import idempotency, signing
from ledger.tasks import task


@task("api.forget")
def forget(**kwargs: Any) -> None:
    """Forget answers that are too old to be replayed, and tokens that have expired."""
    idempotency.forget()
    signing.forget()
