"""A new name that something has already, but for capitals and spaces, is asked about once."""

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as said

from api.pages.forms import PageForm, SureField, unsure
from ledger.finding import called_like


class NewNameForm(PageForm):
    """What is to be added under a name."""

    sure = SureField()

    def ask_once(self, rows: "QuerySet[Any]") -> None:
        """Raise Invalid if one of the rows is called so, until it was said that this is another."""
        known = called_like(rows, self.cleaned_data["name"]).order_by("id").first()
        if known is not None and not self.cleaned_data["sure"]:
            question = said("There is %(name)s already. Is this another one, and both are kept?")
            raise unsure(question % {"name": known.name})
