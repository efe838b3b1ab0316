"""What a product is packed in, as it is typed: names of packaging, and pieces of each."""

from collections.abc import Mapping
from typing import Any, Final

from django import forms
from django.utils.translation import gettext_lazy as _

from api.pages.forms import QuantityField
from ledger.quantities import Quantity, parse_quantity

# Rows there are for it: so many at least, one more than is used, and no more than a product has.
LEAST, MOST = 6, 30
LONGEST: Final = 200


class PackagingField(forms.CharField):
    """What is counted, by its name in whatever capitals; its id is what was typed."""

    def __init__(self, ids: Mapping[str, str]) -> None:
        widget = forms.TextInput(attrs={"list": "parts", "autocomplete": "off"})
        super().__init__(label=_("Packed in"), required=False, max_length=LONGEST, widget=widget)
        self.ids = ids

    def clean(self, value: Any) -> str:
        typed = super().clean(value)
        if typed and typed.lower() not in self.ids:
            raise forms.ValidationError(
                _("No packaging is called “%(name)s”: choose one from the list, or add it first."),
                params={"name": typed},
            )
        return self.ids.get(typed.lower(), "")


class PiecesField(QuantityField):
    """So many pieces of packaging: "1", "2 each"."""

    def __init__(self) -> None:
        super().__init__(label=_("Pieces of it"), required=False, initial="1")

    def read(self, typed: str) -> Quantity:
        return parse_quantity(f"{typed} each" if typed.isdecimal() else typed)


def rows_for(used: int) -> int:
    """How many rows a form has for a product that is packed in so much."""
    return min(max(LEAST, used + 1), MOST)


def rows_sent(data: Mapping[str, Any]) -> int:
    """How many rows a form had that was sent."""
    sent = (place for place in range(MOST) if f"packed_{place}" in data)
    return max((place + 1 for place in sent), default=LEAST)
