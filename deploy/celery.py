"""The task queue: a worker runs what the outbox owes, beat says when to look."""

import os

from typing import Any

from celery import Celery
from celery.signals import worker_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

app = Celery("stillroom")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect  # type: ignore[untyped-decorator]
def refuse_open_walls(**kwargs: Any) -> None:
    """A worker does not start as a role that sees through the walls."""
    # Wants a configured Django, which a process that only sends tasks may not have yet.
    from deploy import checks

    checks.refuse_open_walls()
