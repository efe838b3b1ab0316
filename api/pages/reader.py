"""How figures are written for whoever reads them: separators, units, money, days.

Only what is shown changes. Storage, and what a formula reckons with, stay grams and decimals.
"""

import re
from dataclasses import dataclass
from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import HttpRequest
from django.utils import formats, translation
from django.utils.translation import gettext, ngettext
from django.utils.translation.trans_real import parse_accept_lang_header

from api.pages.kept import mark_of
from api.pages.saying import in_words
from api.preferences import Person
from api.separators import unparted
from ledger.access import Actor
from ledger.amounts import rounded
from ledger.money import minor_units, round_money, round_money_up

# The international avoirdupois pound and ounce, exactly (NIST SP 811, appendix B).
POUND_G: Final = Decimal("453.59237")
OUNCE_G: Final = POUND_G / 16
MILLIONTH: Final = Decimal("0.000001")
# How numbers can be written; the browser's own language is taken where it is one of these.
WRITTEN: Final = {"en": "1,234.5", "de": "1.234,5", "fr": "1 234,5"}
ISO_DAY: Final = re.compile(r"\b[0-9]{4}-[0-9]{2}-[0-9]{2}\b")
# What the ledger calls a piece.
EACH: Final = re.compile(r"^1 each$|(?<=[0-9] )each$")
# The whole part of a number with a unit: a year or a code in what somebody typed stays as it is.
THOUSANDS: Final = re.compile(r"(?:^|(?<=, ))[0-9]{4,}(?=(?:[.,][0-9]+)? (?:[^\W\d_]|°))")
PIECES: Final = re.compile(r"(?<=[0-9] )pieces?$")
THIN: Final = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True)
class Reader:
    """Who reads a page, and how figures are written there."""

    numbers: str = "en"
    us: bool = False
    theme: str = ""
    time_zone: str = "UTC"
    currency: str = ""
    person: Person | None = None
    maker: UUID | None = None

    @property
    def mark(self) -> str:
        """Who is signed in, as a device that keeps what was typed knows it again."""
        return mark_of(self.maker, self.person.username if self.person else "")

    @property
    def point(self) -> str:
        """The decimal separator."""
        return str(formats.get_format("DECIMAL_SEPARATOR", self.numbers, use_l10n=True))

    @property
    def grouping(self) -> str:
        """What stands between thousands."""
        return str(formats.get_format("THOUSAND_SEPARATOR", self.numbers, use_l10n=True))

    def number(self, value: Decimal | int, places: int | None = None) -> str:
        """A number with its thousands grouped; `places` rounds it half-even and keeps zeros."""
        value = Decimal(value)
        if places is not None:
            value = value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
        else:
            value = value.normalize()
        marks = {",": self.grouping, ".": self.point}
        return "".join(marks.get(sign, sign) for sign in f"{value:,f}")

    def quantity(self, value: Decimal, counted: bool = False) -> str:
        """Grams or pieces for people: "2.5 kg", "320.5 g", "5.512 lb", "60 pieces"."""
        if counted:
            pieces = ngettext("piece", "pieces", 1 if value == 1 else 2)
            return f"{self.number(rounded(value, 3))}{THIN}{pieces}"
        if self.us:
            unit, name = (POUND_G, "lb") if abs(value) >= POUND_G else (OUNCE_G, "oz wt")
            return f"{self.number(rounded(value / unit, 3))}{THIN}{name}"
        if abs(value) >= 1000:
            return f"{self.number(rounded(value / 1000, 3))}{THIN}kg"
        return f"{self.number(rounded(value, 2))}{THIN}g"

    def per_mass(self, value: Decimal, counted: bool = False) -> Decimal:
        """What a kilogram costs, or a pound for who reads in pounds; a piece stays as it is."""
        return value * POUND_G / 1000 if self.us and not counted else value

    def per_kilogram(self, value: Decimal, counted: bool = False) -> Decimal:
        """The other way: what was typed for a pound, for a kilogram, to a millionth as it is
        kept."""
        if counted or not self.us:
            return value
        return (value * 1000 / POUND_G).quantize(MILLIONTH)

    def a_mass(self, counted: bool = False) -> str:
        """What it is that `per_mass` is the cost of."""
        if counted:
            return gettext("a piece")
        return gettext("a pound") if self.us else gettext("a kilogram")

    @property
    def mass_unit(self) -> str:
        """The unit of mass that prices are told in."""
        return "lb" if self.us else "kg"

    def grams(self, value: Decimal) -> str:
        """Grams as a scale shows them, whatever the units; for who reads in pounds with those."""
        beside = self.beside_grams(value)
        return f"{self.on_scale(value)} = {beside}" if beside else self.on_scale(value)

    def on_scale(self, value: Decimal) -> str:
        """The grams alone, where the pounds stand beneath them."""
        return f"{self.number(rounded(value, 2))}{THIN}g"

    def beside_grams(self, value: Decimal) -> str:
        """What stands beside grams for who reads in pounds; nothing for others, and of nothing."""
        return self.quantity(value) if self.us and value else ""

    def percent(self, value: Decimal, places: int | None = None) -> str:
        """Three digits at most behind the point, or just so many `places`, as in a column."""
        shown = value if places is not None else rounded(value, 3)
        return f"{self.number(shown, places)}{THIN}%"

    def whole_percent(self, value: Decimal) -> str:
        """The same with all its digits, where a thousandth decides."""
        return f"{self.number(value)}{THIN}%"

    def declared_percent(self, value: Decimal) -> str:
        """A part of a product, to four digits behind the point; where it would seem to be 1 %, at
        which its place on the label turns, all of them."""
        shown = rounded(value, 4)
        return self.whole_percent(value if shown == 1 else shown)

    def money(self, value: Decimal) -> str:
        """Money in the co-op's currency, rounded to its minor unit."""
        return self._coins(round_money(value, self.currency))

    def abroad(self, value: Decimal, currency: str) -> str:
        """What somebody asks in a currency of theirs: all its digits, at least the currency's."""
        digits = -int(value.normalize().as_tuple().exponent)
        return f"{self.number(value, max(minor_units(currency), digits))}{THIN}{currency}"

    def in_full(self, value: Decimal, unit: str) -> str:
        """A figure of a working with all its digits; of money at least those of its coins."""
        digits = max(0, -int(value.normalize().as_tuple().exponent))
        if self.currency and unit.partition("/")[0] == self.currency:
            digits = max(digits, minor_units(self.currency))
        return self.number(value, digits)

    def price(self, value: Decimal) -> str:
        """The least price in whole coins that is not below this one, as a price list has it."""
        return self._coins(round_money_up(value, self.currency))

    def _coins(self, rounded: Decimal) -> str:
        return f"{self.number(rounded, minor_units(self.currency))}{THIN}{self.currency}"

    def amount(self, value: Decimal) -> str:
        """Money as a field shows it, without its currency."""
        return f"{round_money(value, self.currency):f}".replace(".", self.point)

    def figure(self, value: Decimal | None) -> str:
        """A bare number as a field shows it, with all its digits; nothing for none."""
        return "" if value is None else f"{value.normalize():f}".replace(".", self.point)

    def typed(self, value: Decimal, counted: bool = False) -> str:
        """A quantity as a field shows it: all its digits, in kilograms or grams, or pieces."""
        if counted:
            number, unit = value, "piece" if value == 1 else "pieces"
        else:
            number, unit = (value / 1000, "kg") if value >= 1000 else (value, "g")
        return f"{number.normalize():f} {unit}".replace(".", self.point)

    def unit_cost(self, value: Decimal) -> str:
        """What one of something costs, to four places; a small part of a coin to three digits."""
        places = max(4, 2 - value.adjusted()) if value else 4
        return f"{self.number(value, min(places, 8))}{THIN}{self.currency}"

    def day(self, value: date | datetime) -> str:
        """A day where the co-op is, with its month in letters."""
        if isinstance(value, datetime):
            value = value.astimezone(ZoneInfo(self.time_zone)).date()
        return formats.date_format(value, "j M Y")

    def say(self, text: str) -> str:
        """A sentence of the domain as the reader's language has it."""
        return in_words(text, self)

    def dated(self, text: str) -> str:
        """A sentence of the domain with its days as a page writes them; what is no day stays."""
        return ISO_DAY.sub(self._day_in, text)

    def _day_in(self, found: re.Match[str]) -> str:
        try:
            return self.day(date.fromisoformat(found[0]))
        except ValueError:
            return found[0]

    def near_day(self, value: date) -> str:
        """A day of these weeks, whose year everybody knows."""
        return formats.date_format(value, "j\u00a0M")

    def moment(self, value: datetime) -> str:
        local = value.astimezone(ZoneInfo(self.time_zone))
        return f"{self.day(local)}, {local:%H:%M}"

    def plain(self, typed: str) -> str:
        """What was typed, with the point that the ledger reads. Raises NumberAmbiguous."""
        return unparted(typed, self.point, self.grouping)

    def entered(self, text: str) -> str:
        """What was typed once and is kept as the ledger reads it, as a field shows it."""
        text = EACH.sub(lambda found: "1 piece" if found[0] == "1 each" else "pieces", text)
        text = re.sub(r"\bdeg(?=[CF]\b)", "°", text)
        return re.sub(r"(?<=[0-9])\.(?=[0-9])", self.point, text)

    def written(self, text: str) -> str:
        """The same where it is only read: thousands are parted, and pieces are called so in the
        reader's language."""
        text = THOUSANDS.sub(lambda found: self.number(int(found[0])), self.entered(text))
        return PIECES.sub(
            lambda found: ngettext("piece", "pieces", 1 if found[0] == "piece" else 2), text
        )


def reader_of(request: HttpRequest, person: Person | None, actor: Actor | None) -> Reader:
    """How this person reads; what was not chosen is taken from the browser."""
    numbers = (person.numbers if person else "") or asked_for(request)
    return Reader(
        numbers=numbers if numbers in WRITTEN else "en",
        us=bool(person and person.units == "us"),
        theme=person.theme if person else "",
        time_zone=actor.time_zone if actor else "UTC",
        currency=actor.currency if actor else "",
        person=person,
        maker=actor.maker_id if actor else None,
    )


def asked_for(request: HttpRequest) -> str:
    """The way of writing numbers that the browser's first known language has."""
    for tag, _ in parse_accept_lang_header(request.headers.get("Accept-Language", "").lower()):
        if tag in WRITTEN:
            return tag
        if tag.split("-")[0] in WRITTEN:
            return tag.split("-")[0]
    return translation.get_language() or "en"
