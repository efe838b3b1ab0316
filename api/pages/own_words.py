"""What the fields of a form say by themselves, in the pages' own words."""

from typing import Any, Final

from django import forms
from django.core.validators import MaxLengthValidator, ProhibitNullCharactersValidator
from django.utils.translation import gettext_lazy as _

DAY: Final = _("There is no such day; choose one in the calendar.")
STALE: Final = _("This page is not what it was; load it again.")
# By what kind of field says it and what it is about; the nearest kind counts.
SAID: Final[dict[tuple[type[forms.Field], str], Any]] = {
    (forms.Field, "required"): _("Fill this in."),
    (forms.ChoiceField, "required"): _("Choose one of these."),
    (forms.MultipleChoiceField, "required"): _("Choose among these."),
    (forms.BooleanField, "required"): _("Tick this if it is so."),
    (forms.DateField, "required"): _("Choose a day."),
    (forms.DateTimeField, "required"): _("Choose a day and a time."),
    (forms.FileField, "required"): _("Choose a file."),
    (forms.ChoiceField, "invalid_choice"): _("Choose one of those that are offered."),
    (forms.MultipleChoiceField, "invalid_choice"): _("Choose among those that are offered."),
    (forms.MultipleChoiceField, "invalid_list"): _("Choose among those that are offered."),
    (forms.DateField, "invalid"): DAY,
    (forms.DateTimeField, "invalid"): _("There is no such day and time; write both."),
    (forms.TimeField, "invalid"): _("This is no time of day, such as 07:30."),
    (forms.UUIDField, "invalid"): STALE,
    (forms.IntegerField, "invalid"): STALE,
    (forms.EmailField, "invalid"): _("This is no address of mail, such as anna@example.org."),
    (forms.FileField, "invalid"): _("No file came; choose it again."),
    (forms.FileField, "missing"): _("No file came; choose it again."),
    (forms.FileField, "contradiction"): _("No file came; choose it again."),
    (forms.FileField, "empty"): _("There is nothing in this file."),
    (forms.FileField, "max_length"): _("The name of this file is too long; give it a shorter one."),
}
TOO_LONG: Final = _("This has %(show_value)d characters; %(limit_value)d at most are kept.")
UNKEPT: Final = _("There is a character in it that cannot be kept; type it again by hand.")


def say_it_so(field: forms.Field) -> None:
    """Put the pages' words in the place of the framework's; a field's own words stay."""
    for code, text in _framework(type(field)).items():
        own = next((SAID[kind, code] for kind in type(field).mro() if (kind, code) in SAID), None)
        if own is not None and field.error_messages.get(code) is text:
            field.error_messages[code] = own
    for judge in field.validators:
        if isinstance(judge, MaxLengthValidator):
            judge.message = TOO_LONG
        elif isinstance(judge, ProhibitNullCharactersValidator):
            judge.message = UNKEPT


def _framework(kind: type[forms.Field]) -> dict[str, Any]:
    """What fields of a kind say unless they are told otherwise."""
    found: dict[str, Any] = {}
    for one in reversed(kind.mro()):
        found |= getattr(one, "default_error_messages", {})
    return found
