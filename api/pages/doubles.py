"""A new name that something has already, but for capitals and spaces, is asked about once."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import PageForm
from ledger.errors import Invalid
from ledger.finding import called_like


class NewNameForm(PageForm):
    """What is to be added under a name. `doubled` says that the question is to be shown."""

    anyway = forms.BooleanField(label=_("This is another one: keep both"), required=False)
    doubled = False

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.doubled = bool(self.data.get("anyway"))

    def ask_once(self, rows: "QuerySet[Any]") -> None:
        """Raise Invalid if one of the rows is called so, until it was said that this is another."""
        known = called_like(rows, self.cleaned_data["name"]).order_by("id").first()
        if known is not None and not self.cleaned_data["anyway"]:
            self.doubled = True
            raise Invalid(
                said("There is %(name)s already. If this is another one, say so with the tick.")
                % {"name": known.name},
                pointer="/name",
            )
