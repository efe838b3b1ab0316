"""Forms that only whoever knows the person's password may send."""

from typing import Any

from django import forms
from django.db import transaction
from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext as said

from api import preferences, rate, signing
from api.errors import CredentialsWrong
from api.pages.screen import SESSION, Screen
from ledger.errors import Refusal

LONGEST = 200
# The name of the field; a form without it proves nothing.
OLD = "old"


def password_field(label: Any, kind: str = "current-password") -> forms.CharField:
    """A password as it is typed; `kind` tells the browser which one to offer."""
    widget = forms.PasswordInput(attrs={"autocomplete": kind})
    return forms.CharField(label=label, max_length=LONGEST, strip=False, widget=widget)


class Proving(Screen):
    """A screen of a form with the field `old`, the person's password.

    It is tried before anything else: what is counted must stay if the form is refused.
    """

    # Who has typed the right password.
    proven: preferences.Person | None = None
    # Why it was not accepted.
    doubt: Refusal | None = None

    def answered(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        if request.method == "POST" and OLD in request.POST:
            rate.check_address(request)
            self._try(request)
        return super().answered(request, *args, **path)

    def must_be_proven(self) -> preferences.Person:
        """Who has typed the right password. Raises at its field why it was not accepted."""
        if self.doubt is not None:
            raise self.doubt
        if self.proven is None:
            raise CredentialsWrong
        return self.proven

    def _try(self, request: HttpRequest) -> None:
        with transaction.atomic(durable=True):
            person = preferences.person_of(request.COOKIES.get(SESSION, ""))
        if person is None:
            return
        try:
            signing.recognise(request, person.username, request.POST[OLD][:LONGEST])
        except CredentialsWrong:
            self.doubt = CredentialsWrong(said("This is not your password."))
        except Refusal as refusal:
            self.doubt = refusal
        else:
            self.proven = person
        if self.doubt is not None:
            self.doubt.pointer = f"/{OLD}"
