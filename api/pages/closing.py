"""Closing a period of one's books on a page: proposed month by month, and asked about once."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import LONG, DayField, PageForm, SureField, unsure
from ledger.access import Actor
from ledger.closing import closable, close_books, closes_something

ONE = timedelta(days=1)


class ClosingForm(PageForm):
    closed_on = DayField(label=_("Up to and including"))
    note = forms.CharField(label=_("Note"), max_length=LONG, required=False)
    sure = SureField()


def proposed(today: date, closed_on: date | None) -> date | None:
    """The end of the first month that is not closed, if it is over; of the last one if none is."""
    if closed_on is None:
        return today.replace(day=1) - ONE
    end = _next_month((closed_on + ONE).replace(day=1)) - ONE
    return end if end < today else None


def _next_month(first: date) -> date:
    return (first + timedelta(days=31)).replace(day=1)


def close_once_sure(actor: Actor, form: ClosingForm, today: date) -> Any:
    """Close the books, once whoever does it has said that it is so: nothing opens them again.

    Raises what `closes_something` and `close_books` raise.
    """
    typed = dict(form.cleaned_data)
    sure, day = typed.pop("sure"), typed["closed_on"]
    closable(actor, day, today=today)
    closes_something(actor, day)
    if not sure:
        question = said(
            "Nobody can add, change or take back anything of %(day)s or earlier then, neither you"
            " nor another maker with you, and this cannot be undone. Are your books of these days"
            " done?"
        )
        raise unsure(question % {"day": form.reader.day(day)})
    return close_books(actor, today=today, **typed)
