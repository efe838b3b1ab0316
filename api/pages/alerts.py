"""Of what a maker is told by mail, when, and where to; and what others learn of its use."""

from typing import Any, ClassVar, Final

from django import forms
from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.acts import Acts
from api.pages.forms import ButtonBeside, PageForm, WholeField
from api.pages.places import place_of
from ledger import alert_settings, receivers
from ledger.alert_settings import Choices
from ledger.alert_texts import told
from ledger.models import AlertKind, AlertMessage, AlertReceiver
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
        help_text=_(
            "So that it can be offered to whoever still uses it. Nobody learns anything unless you"
            " choose so: in a small co-op even a number tells who it is."
        ),
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


class Alerts(Acts):
    """What is told, and to whom; for whoever decides that for the maker."""

    template = "pages/alerts.html"
    forms: ClassVar = {
        "choose": ("form", ChoicesForm),
        "add": ("mail", MailForm),
        "try": ("pressed", ButtonBeside),
        "remove": ("pressed", ButtonBeside),
    }

    def do(self, act: str, form: Any) -> str:
        typed = form.cleaned_data
        match act:
            case "choose":
                alert_settings.choose(self.actor, form.choices(), version=typed["version"])
            case "add":
                receivers.add_receiver(self.actor, **typed)
            case "try":
                receivers.send_test(self.actor, typed["of"], now=self.now)
            case "remove":
                receivers.remove_receiver(self.actor, typed["of"], now=self.now)
        return "/alerts"

    def page(self, status: int = 200, **facts: Any) -> HttpResponse:
        self.actor.must(Verb.SET_ALERTS)
        first = _as_typed(alert_settings.alert_settings(self.actor))
        own: dict[str, Any] = {
            "form": ChoicesForm(reader=self.reader, initial=first),
            "mail": MailForm(reader=self.reader),
        }
        mails = receivers.receivers(self.actor).filter(channel=AlertReceiver.Channel.MAIL)
        sent = receivers.messages(self.actor)
        return self.show(
            status=status,
            receivers=mails.order_by("-id"),
            messages=[_about(one) for one in sent.order_by("-id")[:MOST_MESSAGES]],
            **(own | facts),
        )


def _about(message: AlertMessage) -> tuple[AlertMessage, str, str]:
    """A message, what it tells, and the page of that; a test is about nothing."""
    alert = message.alert
    if alert is None:
        return message, "", ""
    return message, told(alert.kind, alert.facts).subject, place_of(alert)
