"""What the web server runs."""

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

from django.core.wsgi import get_wsgi_application

# Imported so that a task sent from a request knows its broker.
from deploy.celery import app as celery
from deploy.checks import refuse_open_walls

__all__ = ["application", "celery"]

application = get_wsgi_application()
refuse_open_walls()
