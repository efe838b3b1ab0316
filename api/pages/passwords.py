"""A person's own password, changed by whoever knows the old one."""

from typing import Any

from django.contrib.auth.password_validation import password_validators_help_texts
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api import signing
from api.pages.forms import PageForm
from api.pages.proving import Proving, password_field
from api.pages.screen import SESSION


class PasswordForm(PageForm):
    old = password_field(_("Your password until now"))
    password = password_field(_("A new one"), "new-password")
    again = password_field(_("The new one again"), "new-password")

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if {"password", "again"} <= set(typed) and typed["password"] != typed["again"]:
            self.add_error("again", said("These are not the same; type both once more."))
        return typed


class ChangePassword(Proving):
    """A new password. Wherever else the person is signed in, that ends."""

    template = "pages/password.html"

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

    def _change(self, password: str) -> None:
        token = self.request.COOKIES.get(SESSION, "")
        signing.change_password(self.must_be_proven().username, password, token)

    def _page(self, form: PasswordForm, status: int = 200) -> HttpResponse:
        return self.show(
            form=form,
            rules=password_validators_help_texts(),
            changed="changed" in self.request.GET and not form.is_bound,
            status=status,
        )
