"""What stands in the fields of a form, as lines for paper, on which no field is printed."""

from django.forms import BooleanField
from django.utils.translation import gettext as said

from api.pages.forms import PageForm


def on_paper(form: PageForm) -> list[tuple[str, str]]:
    """Each field that is filled, with what it is called and what was chosen or typed."""
    told = []
    for bound in form:
        value = bound.value()
        if value in (None, "", False):
            continue
        if isinstance(bound.field, BooleanField):
            told.append((str(bound.label), said("yes")))
            continue
        choices = dict(getattr(bound.field, "choices", ()))
        told.append((str(bound.label), str(choices.get(value, value))))
    return told
