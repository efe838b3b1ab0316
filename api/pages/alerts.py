"""Of what a maker is told by mail, when, and where to; and what others learn of its use."""

from typing import Any, Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import Button, PageForm, WholeField
from api.pages.screen import Screen
from ledger import alert_settings, receivers
from ledger.alert_settings import Choices
from ledger.models import AlertKind
from ledger.roles import Verb

TOLD: Final[dict[AlertKind, Any]] = {
    AlertKind.CALLED_BACK: _("A maker calls a lot back"),
    AlertKind.BATCH_SHORT: _("A planned batch lacks something"),
    AlertKind.LOW_STOCK: _("A material runs low"),
    AlertKind.PRICE_JUMP: _("A price has risen"),
    AlertKind.EXPIRING: _("A lot comes to its last day"),
    AlertKind.RETEST_DUE: _("A lot is to be tested again"),
    AlertKind.QUARANTINE_AGEING: _("A lot waits for its release"),
    AlertKind.DEPOSIT_UNCLAIMED: _("A deposit was not claimed back"),
}
WHEN = [("at_once", _("at once")), ("digest", _("once a day")), ("never", _("never"))]
OTHERS = [
    ("nobody", _("nothing")),
    ("counted", _("that somebody uses it")),
    ("named", _("that I use it")),
]
LONGEST_DAYS, MOST_PERCENT, MOST_MESSAGES = 3650, 10_000, 10


def _days(label: Any) -> WholeField:
    return WholeField(label=label, min_value=0, max_value=LONGEST_DAYS)


def _hour(label: Any) -> forms.TimeField:
    widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    return forms.TimeField(label=label, required=False, widget=widget)


class ChoicesForm(PageForm):
    """All that is chosen, as it stands."""

    digest_hour = forms.TypedChoiceField(
        label=_("Once a day, at"), coerce=int, choices=[(n, f"{n}:00") for n in range(24)]
    )
    quiet_from = _hour(_("No mail from"))
    quiet_until = _hour(_("until"))
    time_zone = forms.CharField(
        label=_("By the clock of"),
        max_length=64,
        required=False,
        help_text=_("Such as Europe/Paris; left empty, that of the co-op"),
    )
    expiring_days = _days(_("Days before the last day of a lot"))
    retest_days = _days(_("Days before it is to be tested again"))
    quarantine_days = _days(_("Days that a lot may wait for its release"))
    deposit_days = _days(_("Days that a deposit may be out"))
    price_jump_percent = WholeField(
        label=_("Percent that a price may rise by"), min_value=0, max_value=MOST_PERCENT
    )
    use_told = forms.ChoiceField(
        label=_("When a lot of another maker expires, that maker learns"),
        choices=OTHERS,
        widget=forms.RadioSelect,
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        for kind, label in TOLD.items():
            self.fields[f"told_{kind.value}"] = forms.ChoiceField(label=label, choices=WHEN)

    def told(self) -> list[Any]:
        """The fields that say when each kind is told."""
        return [self[f"told_{kind.value}"] for kind in TOLD]

    def choices(self) -> Choices:
        typed = dict(self.cleaned_data)
        told = {kind.value: typed.pop(f"told_{kind.value}") for kind in TOLD}
        return Choices(told=told, **{**typed, "version": 0})


def _as_typed(choices: Choices) -> dict[str, Any]:
    """What was chosen before, as the form shows it."""
    kept = {name: getattr(choices, name) for name in Choices.__slots__ if name != "told"}
    return kept | {f"told_{kind.value}": choices.telling(kind) for kind in TOLD}


class MailForm(PageForm):
    mail = forms.CharField(
        label=_("A mail address"),
        max_length=254,
        widget=forms.TextInput(attrs={"autocomplete": "email", "autocapitalize": "none"}),
    )


class Alerts(Screen):
    """What is told, and to whom; for whoever decides that for the maker."""

    template = "pages/alerts.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.SET_ALERTS)
        return self._page()

    def post(self, request: HttpRequest) -> HttpResponse:
        do, data = request.POST.get("do"), request.POST
        if do == "choose":
            form = ChoicesForm(data, reader=self.reader)
            return self.act(
                form,
                lambda: alert_settings.choose(
                    self.actor, form.choices(), version=form.cleaned_data["version"]
                ),
                lambda chosen: "/alerts",
                lambda: self._page(form=form, status=422),
            )
        if do == "add":
            mail = MailForm(data, reader=self.reader)
            return self.act(
                mail,
                lambda: receivers.add_receiver(self.actor, **mail.cleaned_data),
                lambda added: "/alerts",
                lambda: self._page(mail=mail, status=422),
            )
        button = Button(data, reader=self.reader)
        return self.act(
            button,
            lambda: self._press(str(do), data.get("of", "")),
            lambda done: "/alerts",
            lambda: self._page(pressed=button, status=422),
        )

    def _press(self, do: str, id: str) -> Any:
        """A receiver is tried, or hears no more."""
        act = receivers.send_test if do == "try" else receivers.remove_receiver
        return act(self.actor, id, now=self.now)

    def _page(
        self,
        *,
        form: PageForm | None = None,
        mail: PageForm | None = None,
        pressed: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        first = _as_typed(alert_settings.alert_settings(self.actor))
        return self.show(
            form=form or ChoicesForm(reader=self.reader, initial=first),
            mail=mail or MailForm(reader=self.reader),
            pressed=pressed,
            receivers=receivers.receivers(self.actor).order_by("-id"),
            messages=receivers.messages(self.actor).order_by("-id")[:MOST_MESSAGES],
            status=status,
        )
