"""Everything that speaks HTTP."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """Everything that speaks HTTP."""

    name = "api"
