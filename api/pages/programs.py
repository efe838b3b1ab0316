"""Programs that hear of a maker's alerts: signed messages to their addresses, and what arrived."""

from typing import Any, ClassVar

from django import forms
from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.acts import Acts
from api.pages.forms import Button, PageForm
from api.pages.screen import Once
from ledger import receivers
from ledger.models import AlertReceiver
from ledger.web_addresses import LONGEST

MOST_MESSAGES = 20


class ProgramForm(PageForm):
    called: ClassVar = {"": "webhook"}

    webhook = forms.CharField(
        label=_("Its address"),
        max_length=LONGEST,
        help_text=_("Such as https://example.org/alerts"),
        widget=forms.TextInput(
            attrs={"inputmode": "url", "autocapitalize": "none", "autocomplete": "off"}
        ),
    )


class Programs(Acts):
    """The programs, with the secret of a new one, shown this once."""

    template = "pages/programs.html"
    forms: ClassVar = {"add": ("form", ProgramForm)}

    def do(self, act: str, form: Any) -> str | Once:
        made = receivers.add_receiver(self.actor, **form.cleaned_data)
        return Once("/alert-receivers?made=before", lambda: self.page(made=made))

    def page(self, status: int = 200, **facts: Any) -> HttpResponse:
        own: dict[str, Any] = {"form": ProgramForm(reader=self.reader)}
        known = receivers.receivers(self.actor).filter(channel=AlertReceiver.Channel.WEBHOOK)
        return self.show(
            status=status,
            programs=known.order_by("-id"),
            before="made" in self.request.GET and status == 200,
            **(own | facts),
        )


class Program(Acts):
    """One of them: what was sent there lately, and what became of it."""

    template = "pages/program.html"
    forms: ClassVar = {
        "try": ("pressed", Button),
        "renew": ("pressed", Button),
        "remove": ("pressed", Button),
    }

    def do(self, act: str, form: Any) -> str | Once:
        id = self.kwargs["id"]
        here = f"/alert-receivers/{id}"
        if act == "renew":
            made = receivers.renew_secret(self.actor, id, now=self.now)
            return Once(f"{here}?made=before", lambda: self.page(made=made))
        if act == "try":
            receivers.send_test(self.actor, id, now=self.now)
            return here
        receivers.remove_receiver(self.actor, id, now=self.now)
        return "/alert-receivers"

    def page(self, status: int = 200, **facts: Any) -> HttpResponse:
        program = receivers.receiver_for(self.actor, self.kwargs["id"])
        sent = receivers.messages(self.actor, receiver=program.id).order_by("-id")
        return self.show(
            status=status,
            program=program,
            messages=sent[:MOST_MESSAGES],
            overlap=program.earlier_until and self.now < program.earlier_until,
            before="made" in self.request.GET and status == 200,
            **facts,
        )
