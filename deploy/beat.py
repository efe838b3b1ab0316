"""The clock that reminds the worker. It only sends names, so it loads no Django and stays small."""

from celery import Celery

app = Celery("stillroom", fixups=[])
app.config_from_object("deploy.settings", namespace="CELERY")
