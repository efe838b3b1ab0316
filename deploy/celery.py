"""The task queue: a worker runs what the outbox owes, beat says when to look."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

app = Celery("stillroom")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
