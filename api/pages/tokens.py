"""Where a person is signed in, and tokens for programs that act in the person's name."""

from typing import Any, ClassVar

from django import forms
from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _

from api import signing
from api.pages.acts import Acts
from api.pages.forms import Button, ButtonBeside, PageForm
from api.pages.proving import Proving, password_field
from api.pages.screen import SESSION, Once

MOST = 25


class TokenForm(PageForm):
    note = forms.CharField(
        label=_("What it is for"),
        max_length=signing.LONGEST_NOTE,
        help_text=_("Such as the shop's till; this list tells it again."),
    )
    scope = forms.ChoiceField(
        label=_("Whoever has it may"),
        choices=[("read", _("look, and change nothing")), ("all", _("do all that you may"))],
        initial="read",
        widget=forms.RadioSelect,
    )
    old = password_field(_("Your password"))


class Tokens(Proving, Acts):
    """One's tokens to this co-op, newest first; what is secret of them is never kept."""

    template = "pages/tokens.html"
    forms: ClassVar = {
        "make": ("form", TokenForm),
        "end": ("pressed", ButtonBeside),
        "end_all": ("pressed", Button),
    }

    def do(self, act: str, form: Any) -> str | Once:
        current, typed = self._current(), form.cleaned_data
        if act == "make":
            return self._made(typed["note"], read_only=typed["scope"] == "read")
        if act == "end":
            signing.end_token(self.actor, typed["of"], current=current)
        else:
            signing.end_all_tokens(self.actor, current=current)
        return "/tokens"

    def _made(self, note: str, *, read_only: bool) -> Once:
        self.must_be_proven()
        token, kept = signing.issue(
            self.actor.coop_id, self.actor.person_id, read_only=read_only, note=note
        )
        return Once("/tokens?made=before", lambda: self.page(token=token, kept=kept))

    def page(self, status: int = 200, **facts: Any) -> HttpResponse:
        rows = signing.tokens_of(self.actor, now=self.now).order_by("-id")[: MOST + 1]
        found = [(one, signing.is_current(one, self._current())) for one in rows]
        own: dict[str, Any] = {"form": TokenForm(reader=self.reader)}
        return self.show(
            status=status,
            tokens=found[:MOST],
            more=len(found) > MOST,
            before="made" in self.request.GET and status == 200,
            **(own | facts),
        )

    def _current(self) -> str:
        return self.request.COOKIES.get(SESSION, "")
