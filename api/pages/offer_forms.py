"""What is typed of a supplier's offers: packs with their prices and breaks, and the terms of an
order."""

from datetime import date
from decimal import Decimal
from typing import Any, ClassVar, Final

from django import forms
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.far_days import PRICE_YEARS, refuse_far
from api.pages.forms import (
    DayField,
    DensityField,
    NumberField,
    PageForm,
    QuantityField,
    Rows,
    WholeField,
    WithRows,
)
from api.pages.reader import Reader
from api.pages.standards import PriceField
from ledger.access import Actor
from ledger.errors import Unreadable
from ledger.models import OfferPrice, SupplierTerms
from ledger.models.offers import MOST_DAYS
from ledger.offer_prices import FreightKind
from ledger.offer_reading import breaks_of
from ledger.offering import BreakFacts, PriceFacts, TermsFacts

LARGEST_RATE, RATE_PLACES = Decimal(10) ** 9, -9
FREIGHTS: Final = {
    FreightKind.NONE.value: _("nothing"),
    FreightKind.FLAT.value: _("so much an order"),
    FreightKind.MASS.value: _("so much a kilogram"),
}


class AskedField(PriceField):
    """What something costs, above nothing."""

    def read(self, typed: str) -> Decimal:
        price = super().read(typed)
        if not price:
            raise Unreadable(said("Write what it costs; nothing is no price."))
        return price


class RateField(NumberField):
    """What one of another currency costs in the co-op's own."""

    def read(self, typed: str) -> Decimal:
        rate = super().read(typed)
        if not 0 < rate < LARGEST_RATE or int(rate.as_tuple().exponent) < RATE_PLACES:
            raise Unreadable(said("Write a rate above 0, with no more than nine digits after it."))
        return rate


class DaysField(WholeField):
    """So many days, a century at most."""

    def __init__(self, *, least: int, **how: Any) -> None:
        super().__init__(required=False, min_value=least, max_value=MOST_DAYS, **how)


class FromForm(PageForm):
    """What holds from a day on, in a currency."""

    valid_from = DayField(
        label=_("From this day on"), help_text=_("What held before stays in its history.")
    )
    currency = forms.CharField(label=_("Currency"), max_length=3, required=False)
    rate = RateField(label=_("What one of it costs"), required=False)
    lead_time_days = DaysField(label=_("Takes, as they say, in days"), least=0)
    note = forms.CharField(label=_("Note"), max_length=400, required=False)

    def __init__(self, *args: Any, own: str, **how: Any) -> None:
        super().__init__(*args, **how)
        self.own = own
        self.fields["rate"].help_text = said(
            "Of the day, in %(own)s; %(own)s itself has no rate."
        ) % {"own": own}

    def clean_currency(self) -> str:
        return str(self.cleaned_data["currency"]).strip().upper()

    def abroad(self) -> bool:
        """Whether the fields of another currency have to be looked at."""
        wrong = self["currency"].errors or self["rate"].errors
        return bool(wrong) or (self["currency"].value() or self.own) != self.own

    def near(self, today: date) -> None:
        """Raises Invalid for a day that is mostly a wrong year."""
        refuse_far(self.cleaned_data["valid_from"], today, PRICE_YEARS, "/valid_from")


class OpenedForm(FromForm):
    """What is written for the maker alone, or opened to all of the co-op."""

    open = forms.BooleanField(label=_("All makers of the co-op see it"), required=False)

    def __init__(self, *args: Any, actor: Actor, **how: Any) -> None:
        super().__init__(*args, own=actor.currency, **how)
        if actor.maker_id is None:
            # Who acts for no maker writes for all.
            del self.fields["open"]

    def opened(self) -> bool | None:
        return self.cleaned_data.get("open")


class TermsForm(OpenedForm):
    minimum = PriceField(
        label=_("An order comes to at least"), required=False, help_text=_("Of goods")
    )
    freight_kind = forms.ChoiceField(
        label=_("Freight"), choices=list(FREIGHTS.items()), initial=FreightKind.NONE.value
    )
    freight = PriceField(label=_("It is"), required=False)
    free_from = PriceField(
        label=_("Free from"), required=False, help_text=_("Goods of so much travel free.")
    )

    def terms(self) -> TermsFacts:
        typed = {name: value for name, value in self.cleaned_data.items() if name != "open"}
        return TermsFacts(**typed)


class PriceForm(FromForm):
    """What a pack costs from a day on."""

    price = AskedField(label=_("A pack costs"))
    least_packs = WholeField(
        label=_("Packs at least"), required=False, min_value=1, max_value=1_000_000
    )
    shelf_life_days = DaysField(
        label=_("Keeps at least, in days"), least=1, help_text=_("When it comes")
    )

    def price_facts(self, breaks: Rows) -> PriceFacts:
        names = ("valid_from", "price", "currency", "rate", "lead_time_days", "shelf_life_days")
        return PriceFacts(
            **{name: self.cleaned_data[name] for name in (*names, "note")},
            least_packs=self.cleaned_data["least_packs"] or 1,
            breaks=[BreakFacts(**one.cleaned_data) for one in breaks.filled],
        )


class OfferForm(OpenedForm, PriceForm):
    material = forms.CharField(
        label=_("What"),
        max_length=200,
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
    )
    pack = QuantityField(label=_("A pack holds"), help_text=_("Such as 25 kg, 1 gal or 60 pieces"))
    article_code = forms.CharField(label=_("Their article"), max_length=80, required=False)
    density = DensityField(
        label=_("Density, as they say"),
        required=False,
        help_text=_("For a pack by volume; left empty, that of the material"),
    )


class BreakForm(PageForm):
    at_least = QuantityField(label=_("From so much in one order"), help_text=_("Such as 50 kg"))
    price = AskedField(label=_("each pack costs"))


class EndForm(PageForm):
    ends_on = DayField(label=_("The first day without it"))
    end_note = forms.CharField(label=_("Why"), max_length=400, required=False)
    called: ClassVar = {"/valid_from": "ends_on", "/note": "end_note"}


def priced_forms(form: PageForm, data: Any, reader: Reader, **how: Any) -> WithRows:
    """A price and its breaks, sent as one."""
    return WithRows(form, Rows(BreakForm, "breaks", data, reader=reader, optional=True, **how))


def terms_typed(row: SupplierTerms | None, today: date, reader: Reader) -> dict[str, Any]:
    """Terms as their form would have been filled in; the rate is of its day."""
    if row is None:
        return {"valid_from": today}
    names = ("currency", "lead_time_days", "freight_kind")
    return {
        "valid_from": today,
        "open": row.maker_id is None,
        **{name: getattr(row, name) for name in names},
        **{name: reader.figure(getattr(row, name)) for name in ("minimum", "freight")},
        "free_from": reader.figure(row.free_from),
    }


def price_typed(row: OfferPrice | None, today: date, reader: Reader) -> dict[str, Any]:
    """A price as its form would have been filled in; the rate is of its day."""
    if row is None:
        return {"valid_from": today}
    names = ("currency", "least_packs", "lead_time_days", "shelf_life_days")
    kept = {name: getattr(row, name) for name in names}
    return {"valid_from": today, "price": reader.figure(row.price), **kept}


def breaks_typed(row: OfferPrice | None, reader: Reader, spare: int) -> dict[str, str]:
    """The breaks of a price as their rows would have been filled in, and some empty rows."""
    found = breaks_of(row) if row else []
    typed = {"breaks": str(len(found) + spare)}
    for place, one in enumerate(found):
        typed[f"breaks-{place}-at_least"] = reader.entered(one.entered)
        typed[f"breaks-{place}-price"] = reader.figure(one.price)
    return typed
