"""Forms that parse and hold no rules: what is typed becomes the domain's own values.

A refusal of the domain is shown at the field that its pointer names, in its own words.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.functional import Promise
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy as _

from api import errors
from api.pages.own_words import say_it_so
from api.pages.reader import Reader
from api.pages.saying import in_words
from api.pages.whole_numbers import whole_in
from api.separators import NUMBER, number_in, refuse_points, refuse_signs
from ledger.errors import Invalid, Refusal
from ledger.money import parse_money
from ledger.quantities import (
    Density,
    Quantity,
    parse_density,
    parse_quantity,
    parse_temperature,
)

TEXT, LONG = 80, 200
# How the API names a value, which no person does.
API_NAME = re.compile(r"\b[a-z]+(?:_[a-z]+)+\b")
# A whole number on a page has no more digits than the store keeps of one.
MOST_DIGITS = 9
HUNDREDTH = Decimal("0.01")
# Where a refusal points that is a question.
ASKED = "/sure"
# Ounces of which nothing says that they are a volume, or that they are a weight already.
OUNCE = "oz wt"
OUNCES = re.compile(rf"({NUMBER.pattern}|[0-9 ]*[0-9]/[0-9]+) ?(?:oz|ounces?)\.?", re.IGNORECASE)


class Typed(forms.CharField):
    """A figure as people type it, read by a function of the domain."""

    reader: Reader = Reader()
    widget = forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"})

    def __init__(self, **how: Any) -> None:
        super().__init__(max_length=64, **how)

    def clean(self, value: Any) -> Any:
        typed = super().clean(value)
        if not typed:
            return None
        try:
            return self.read(self.plain(typed))
        except Refusal as refusal:
            why = in_words(refusal.detail, self.reader)
            raise ValidationError(why, code=refusal.code) from refusal

    def plain(self, typed: str) -> str:
        """What was typed, with the point that the ledger reads."""
        return self.reader.plain(typed)

    def read(self, typed: str) -> Any:
        raise NotImplementedError


class QuantityField(Typed):
    """ "4 gal", "2.5 kg", "60 each"."""

    def read(self, typed: str) -> Quantity:
        refuse_points(typed, self.reader.point)
        return parse_quantity(typed)


class GramsField(QuantityField):
    """What a scale shows: grams, unless a unit is named. Its "oz" is a weight, and no volume."""

    widget = forms.TextInput(attrs={"autocomplete": "off", "inputmode": "decimal"})

    def read(self, typed: str) -> Quantity:
        if NUMBER.fullmatch(typed):
            return super().read(f"{typed} g")
        ounces = OUNCES.fullmatch(typed)
        return super().read(f"{ounces[1]} {OUNCE}" if ounces else typed)


class LotCodeField(forms.CharField):
    """The code of a lot, typed or scanned; `data-lot` keeps a scanner from sending the form."""

    widget = forms.TextInput(
        attrs={"autocomplete": "off", "autocapitalize": "characters", "data-lot": True}
    )

    def __init__(self, **how: Any) -> None:
        super().__init__(max_length=120, **how)


class DensityField(Typed):
    """ "0.91 g/mL", at 20 degC unless the text says otherwise."""

    def read(self, typed: str) -> Density:
        return parse_density(typed)


class MoneyField(Typed):
    """An amount in the co-op's currency."""

    widget = forms.TextInput(attrs={"autocomplete": "off", "inputmode": "decimal"})

    def read(self, typed: str) -> Decimal:
        refuse_signs(typed, self.reader.point)
        return parse_money(typed, self.reader.currency)


class NumberField(Typed):
    """A bare decimal, such as a percent."""

    widget = forms.TextInput(attrs={"autocomplete": "off", "inputmode": "decimal"})

    def read(self, typed: str) -> Decimal:
        return number_in(typed, self.reader.point)


class CelsiusField(Typed):
    """A temperature in degrees Celsius, unless its scale is named."""

    def read(self, typed: str) -> Decimal:
        bare = NUMBER.fullmatch(typed.lstrip("-\N{MINUS SIGN}"))
        if not bare:
            refuse_signs(typed, self.reader.point)
        return parse_temperature(f"{typed} degC" if bare else typed).quantize(HUNDREDTH)


class WholeField(forms.IntegerField):
    """How many: a whole number, read as the page would print it."""

    reader: Reader = Reader()

    def __init__(self, **how: Any) -> None:
        numeric = {"inputmode": "numeric", "autocomplete": "off"}
        super().__init__(widget=forms.TextInput(attrs=numeric), **how)
        for judge in self.validators:
            if isinstance(judge, MinValueValidator):
                judge.message = _("Write %(limit_value)s or more.")
            elif isinstance(judge, MaxValueValidator):
                judge.message = _("Write %(limit_value)s or less.")

    def to_python(self, value: Any) -> int | None:
        """Unlike Django's, no ".000" is taken for nothing: it may be thousands."""
        try:
            typed = self.reader.plain("" if value is None else str(value).strip())
        except Refusal as refusal:
            why = in_words(refusal.detail, self.reader)
            raise ValidationError(why, code=refusal.code) from refusal
        if typed in self.empty_values:
            return None
        if re.fullmatch(r"[-\N{MINUS SIGN}]?[0-9]*[.,][0-9.,]*", typed):
            raise ValidationError(_("Write a whole number here, with no comma and no point."))
        if not re.fullmatch(r"[-\N{MINUS SIGN}]?[0-9]+", typed):
            raise ValidationError(_("Write a whole number here, such as 12."))
        if len(typed.lstrip("-\N{MINUS SIGN}0")) > MOST_DIGITS:
            raise ValidationError(_("This is more than any figure here: write 9 digits at most."))
        return int(Decimal(typed.replace("\N{MINUS SIGN}", "-")))


class DayField(forms.DateField):
    """A day, as the browser's own calendar sends it."""

    def __init__(self, **how: Any) -> None:
        widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        super().__init__(input_formats=["%Y-%m-%d"], widget=widget, **how)


class MomentField(forms.DateTimeField):
    """A day and time where the co-op is."""

    reader: Reader = Reader()

    def __init__(self, **how: Any) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        formats = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]
        super().__init__(input_formats=formats, widget=widget, **how)

    def clean(self, value: Any) -> datetime | None:
        found = super().clean(value)
        zone = ZoneInfo(self.reader.time_zone)
        return found.replace(tzinfo=zone) if found else None


class SentFileField(forms.FileField):
    """A file no larger than the server keeps."""

    def clean(self, value: Any, initial: Any = None) -> Any:
        file = super().clean(value, initial)
        if file and file.size > settings.LARGEST_FILE:
            raise ValidationError(in_words(errors.file_too_large().detail, Reader()))
        return file


class CertificateField(SentFileField):
    """A photo or PDF."""

    widget = forms.FileInput(attrs={"accept": "application/pdf,image/*"})


class UndoReasonField(forms.CharField):
    """Why something is taken back; what it mostly is can be chosen instead of typed.

    Nothing is suggested that really happened to the goods, as what is spilled: taken back, it
    would stand in the books as if it were still there.
    """

    def __init__(self, *suggested: Promise, **how: Any) -> None:
        super().__init__(**how)
        self.suggested = suggested


class SureField(forms.BooleanField):
    """A tick that is shown only beside a question, which `unsure` asks."""

    def __init__(self) -> None:
        super().__init__(label=_("It is so"), required=False)


def unsure(question: str) -> Invalid:
    """What a form asks once, before it does what is mostly a slip: shown at its SureField."""
    return Invalid(question, pointer=ASKED)


class PageForm(forms.Form):
    """A form as a page shows it."""

    use_required_attribute = False
    # Its place where it is one of several rows, from 1.
    of_row = 0
    # Where a pointer of the domain names what is called otherwise here.
    called: ClassVar[Mapping[str, str]] = {}

    def __init__(self, data: Any = None, files: Any = None, *, reader: Reader, **how: Any) -> None:
        super().__init__(data, files, label_suffix="", **how)
        self.reader = reader
        for field in self.fields.values():
            say_it_so(field)
            if hasattr(field, "reader"):
                field.reader = reader

    def refuse(self, refusal: Refusal) -> None:
        """Show a refusal at its field, or above the form where none is seen."""
        name = self.field_at(refusal.pointer)
        seen = name in self.fields and not self.fields[name].widget.is_hidden
        self.add_error(name if seen else None, refusal.detail)

    def add_error(self, field: str | None, error: Any) -> None:
        """What is wrong at a field, or (None) above the form; a text of the domain in words."""
        # What leads somewhere is in words already.
        bare = isinstance(error, str) and not isinstance(error, SafeString)
        super().add_error(field, self._in_words(error) if bare else error)

    def _in_words(self, text: str) -> str:
        """A sentence in the reader's language, with the names of the API as this form has them."""
        return API_NAME.sub(lambda found: self._word(found[0]), in_words(text, self.reader))

    def _word(self, name: str) -> str:
        field = self.fields.get(name)
        return f"“{field.label}”" if field and field.label else name.replace("_", " ")

    def field_at(self, pointer: str) -> str:
        """The name of the field for a JSON Pointer such as "/quantity"."""
        return self.called.get(pointer, pointer.strip("/").split("/")[0])

    def offer(self, name: str, choices: Iterable[tuple[str, Any]]) -> None:
        """What a field can be chosen from, where that is known only now."""
        field = self.fields[name]
        if isinstance(field, forms.ChoiceField):
            field.choices = list(choices)


class Button(PageForm):
    """A button alone, whose refusal stands above it."""


class ButtonBeside(Button):
    """A button beside one of several; `of` is the id of that one."""

    of = forms.CharField(widget=forms.HiddenInput)


class Rows:
    """Rows of one form under each other, as many as `name` says; the empty ones do not count.

    With `judged` false they show what was typed without a word about it. Of rows that are
    `optional` all may be empty; otherwise the first is asked for.
    """

    MOST: ClassVar[int] = 20

    def __init__(
        self,
        kind: type[PageForm],
        name: str,
        data: Mapping[str, str],
        *,
        reader: Reader,
        judged: bool = True,
        more: int = 0,
        optional: bool = False,
    ) -> None:
        self.name = name
        rows = whole_in(data.get(name, ""), self.MOST, otherwise=1)
        self.count = max(1, min(rows + more, self.MOST))
        before = [f"{name}-{place}" for place in range(self.count)]
        there = [place for place in before if _has_something(kind, data, place)]
        there = there or ([] if optional else before[:1])
        self.forms = [
            kind(data, reader=reader, prefix=place)
            if judged and place in there
            else shown_again(kind, data, reader=reader, prefix=place)
            for place in before
        ]
        if self.count > 1:
            for place, form in enumerate(self.forms, start=1):
                form.of_row = place
        self.filled = [form for form in self.forms if form.prefix in there]

    def is_valid(self) -> bool:
        return all([form.is_valid() for form in self.filled])

    def refuse(self, refusal: Refusal) -> bool:
        """Show a refusal at the row that its pointer names; False if it names none of them."""
        of, place, *rest = [*refusal.pointer.strip("/").split("/"), "", ""][:3]
        if of != self.name or not place.isdecimal() or int(place) >= len(self.filled):
            return False
        form = self.filled[int(place)]
        name = form.field_at(f"/{rest[0]}" if rest else "")
        form.add_error(name if name in form.fields else None, refusal.detail)
        return True


@dataclass(slots=True)
class WithRows:
    """What is said of a whole, and rows of it, sent as one."""

    whole: PageForm
    rows: Rows

    def is_valid(self) -> bool:
        # All of them, so that everything that is wrong is told at once.
        return all([self.whole.is_valid(), self.rows.is_valid()])

    def refuse(self, refusal: Refusal) -> None:
        if not self.rows.refuse(refusal):
            self.whole.refuse(refusal)


def shown_again(
    kind: type[PageForm], data: Mapping[str, str], *, reader: Reader, prefix: str | None = None
) -> PageForm:
    """A form with what was typed in it, not judged."""
    before = f"{prefix}-" if prefix else ""
    typed = {
        name: data[f"{before}{name}"] for name in kind.base_fields if f"{before}{name}" in data
    }
    return kind(reader=reader, prefix=prefix, initial=typed)


def _has_something(kind: type[PageForm], data: Mapping[str, str], prefix: str) -> bool:
    """Whether anything was typed; what is chosen from a list or hidden always has something."""
    fields = kind.base_fields.items()
    typed = [
        name
        for name, one in fields
        if not isinstance(one, forms.ChoiceField) and not one.widget.is_hidden
    ]
    return any(data.get(f"{prefix}-{name}", "").strip() for name in typed)


def local(moment: datetime, reader: Reader) -> datetime:
    """A moment as a field of day and time shows it, to the minute."""
    there = moment.astimezone(ZoneInfo(reader.time_zone)) - timedelta(seconds=moment.second)
    return there.replace(tzinfo=None, microsecond=0)


def id_in(text: str) -> str | None:
    """An id of an address, or nothing where it is none."""
    try:
        return str(UUID(text))
    except ValueError:
        return None
