"""A person's own password, changed by whoever knows the old one."""

from typing import Any

from django import forms
from django.contrib.auth.password_validation import password_validators_help_texts
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api import preferences, rate, signing
from api.errors import CredentialsWrong
from api.pages.forms import PageForm
from api.pages.screen import SESSION, Screen
from ledger.errors import Refusal

LONGEST = 200


def _typed(label: Any, kind: str) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": kind})
    return forms.CharField(label=label, max_length=LONGEST, strip=False, widget=widget)


class PasswordForm(PageForm):
    old = _typed(_("Your password until now"), "current-password")
    password = _typed(_("A new one"), "new-password")
    again = _typed(_("The new one again"), "new-password")

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if {"password", "again"} <= set(typed) and typed["password"] != typed["again"]:
            self.add_error("again", said("These are not the same; type both once more."))
        return typed


class ChangePassword(Screen):
    """A new password. Wherever else the person is signed in, that ends."""

    template = "pages/password.html"
    # Why the old password was not accepted; None where it was.
    doubt: Refusal | None = None

    def answered(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        """The old password is tried first: what is counted must stay if the form is refused."""
        if request.method == "POST":
            rate.check_address(request)
            self.doubt = self._doubt(request)
        return super().answered(request, *args, **path)

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page(PasswordForm(reader=self.reader))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = PasswordForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._change(form.cleaned_data["password"]),
            lambda done: "/password?changed=yes",
            lambda: self._page(form, status=422),
        )

    def _doubt(self, request: HttpRequest) -> Refusal | None:
        with transaction.atomic(durable=True):
            person = preferences.person_of(request.COOKIES.get(SESSION, ""))
        if person is None:
            return None
        try:
            signing.recognise(request, person.username, request.POST.get("old", "")[:LONGEST])
        except CredentialsWrong:
            return CredentialsWrong(said("This is not your password."), pointer="/old")
        except Refusal as refusal:
            refusal.pointer = "/old"
            return refusal
        return None

    def _change(self, password: str) -> None:
        if self.doubt is not None:
            raise self.doubt
        person = self.reader.person
        if person is not None:
            token = self.request.COOKIES.get(SESSION, "")
            signing.change_password(person.username, password, token)

    def _page(self, form: PasswordForm, status: int = 200) -> HttpResponse:
        return self.show(
            form=form,
            rules=password_validators_help_texts(),
            changed="changed" in self.request.GET and not form.is_bound,
            status=status,
        )
