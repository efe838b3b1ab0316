"""What the web server runs."""

import gc
import os

# What is made while it starts stays until it ends: it is not looked through again and again, now
# or later.
gc.disable()
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

from django.core.wsgi import get_wsgi_application

# Imported so that a task sent from a request knows its broker.
from deploy.celery import app as celery
from deploy.checks import refuse_open_walls

__all__ = ["application", "celery"]

application = get_wsgi_application()
refuse_open_walls()
gc.freeze()
gc.enable()
