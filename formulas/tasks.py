"""What the worker runs for formulas."""

import logging
from typing import Any

from django.utils import timezone

from formulas import staleness
from ledger.tasks import task

log = logging.getLogger(__name__)


@task("formulas.give_back_stale")
def give_back_stale(**kwargs: Any) -> None:
    """Free what plans long past still hold."""
    log.info("plans given back: %s", staleness.give_back_stale(now=timezone.now()))
