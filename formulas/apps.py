"""Formulas, batches and products."""

from django.apps import AppConfig


class FormulasConfig(AppConfig):
    """Formulas, batches and products."""

    name = "formulas"
