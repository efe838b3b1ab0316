"""Places of lots: their names, what each is kept for, and where a lot is put."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django import forms
from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import PageForm
from api.pages.screen import Screen
from ledger import places
from ledger.access import Actor, day_of
from ledger.models import Place as Kept
from ledger.roles import Verb

MOST = 200
# What a place is kept for.
KEEPS = {
    "": _("any lot"),
    "quarantine": _("only what is in quarantine"),
    "released": _("only what is released"),
    "hold": _("only what is on hold"),
    "rejected": _("only what is rejected"),
}
NOWHERE = ("", _("in no place"))


def places_to_choose(actor: Actor, *statuses: str) -> list[tuple[str, Any]]:
    """The places that may keep what has one of these, and first that it lies in none of them."""
    rows = places.choosable(actor).filter(keeps__in=["", *statuses])
    return [NOWHERE, *((str(one.id), one.name) for one in rows)]


class PlaceField(forms.ChoiceField):
    """A place among several; whether it is one, and may keep the lot, the ledger says."""

    def valid_value(self, value: Any) -> bool:
        return True


class PutForm(PageForm):
    """Where a lot goes: the places that may keep it."""

    place = forms.ChoiceField(label=_("It lies"), required=False)

    @property
    def to(self) -> str | None:
        return self.cleaned_data["place"] or None


def put_form(actor: Actor, reader: Any, lot: dict[str, Any], data: Any = None) -> PutForm:
    """The form for one lot, with those places that are kept for what it is, or for anything.

    Where it lies now is among them in any case: else it would look as if it lay nowhere, and a tap
    would say so.
    """
    form = PutForm(data, reader=reader, initial={"place": lot["place"]})
    choices = places_to_choose(actor, lot["status"])
    if lot["place"] and lot["place"] not in dict(choices):
        name = said("%(place)s (wrong place)") % {"place": lot["place_name"]}
        choices.insert(1, (lot["place"], name))
    form.offer("place", choices)
    return form


class PlaceForm(PageForm):
    name = forms.CharField(
        label=_("What it is called"), max_length=80, help_text=_("Such as: cold shelf")
    )
    keeps = forms.ChoiceField(label=_("It is for"), required=False, choices=list(KEEPS.items()))


class Places(Screen):
    """Every place of the maker, and one more."""

    template = "pages/places_of_lots.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page(PlaceForm(reader=self.reader))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = PlaceForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: places.add_place(self.actor, **form.cleaned_data),
            lambda made: "/places",
            lambda: self._page(form, status=422),
        )

    def _page(self, form: PageForm, status: int = 200) -> HttpResponse:
        used_first = F("retired_at").asc(nulls_first=True)
        every = places.places_of(self.actor).order_by(used_first, "name", "id")
        rows = list(every[: MOST + 1])
        return self.show(
            files={"": lambda: _table(self.actor, every[: tables.MOST_ROWS + 1])},
            found=[(one, KEEPS[one.keeps]) for one in rows[:MOST]],
            more=len(rows) > MOST,
            most=MOST,
            form=form if self.actor.may(Verb.PLACE) else None,
            status=status,
        )


def _table(actor: Actor, rows: Iterable[Kept]) -> tables.Table:
    """Every place, what it is for, and how many lots lie there."""
    columns = [said("Place"), said("It is for"), said("Lots"), said("Not used since")]
    cells = [
        (
            *(one.name, str(KEEPS[one.keeps]), one.lots),  # type: ignore[attr-defined]
            day_of(actor, one.retired_at) if one.retired_at else None,
        )
        for one in rows
    ]
    return tables.Table("places", columns, cells)


class ChangeForm(PlaceForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    retired = forms.BooleanField(
        label=_("It is not used any more"),
        required=False,
        help_text=_("Only once nothing lies there; nothing can be put there then."),
    )


class Place(Screen):
    """One place: another name, another use, or none any more."""

    template = "pages/place_of_lots.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        found = places.place_for(self.actor, id)
        typed = {"name": found.name, "keeps": found.keeps, "version": found.version}
        typed["retired"] = found.retired_at is not None
        return self._page(found, ChangeForm(reader=self.reader, initial=typed))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = ChangeForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: places.change_place(self.actor, place=id, now=self.now, **form.cleaned_data),
            lambda kept: "/places",
            lambda: self._page(places.place_for(self.actor, id), form, status=422),
        )

    def _page(self, found: Kept, form: PageForm, status: int = 200) -> HttpResponse:
        may = self.actor.may(Verb.PLACE)
        return self.show(place=found, form=form if may else None, status=status)
