"""The task queue: a worker runs what the outbox owes, beat says when to look."""

import os
from typing import Any

from celery import Celery
from celery.signals import worker_init

from deploy import checks

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

app = Celery("stillroom")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect  # type: ignore[untyped-decorator]
def start_within_walls(**kwargs: Any) -> None:
    """A worker does not start as a role that sees through the walls."""
    checks.refuse_open_walls()
