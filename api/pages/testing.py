"""What is asked of a material, and what tests of its lots found; outside a limit a lot is held."""

from decimal import Decimal
from typing import Any
from uuid import UUID

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import DayField, NumberField, PageForm, Rows, WithRows
from api.pages.reader import Reader
from api.pages.screen import Screen
from ledger import retesting
from ledger.access import Actor, day_of, material_for
from ledger.errors import Unreadable
from ledger.limits import Limit
from ledger.lot_reading import show_lot
from ledger.models import Specification, SpecificationLimit
from ledger.retesting import Found
from ledger.roles import Verb

SPARE, MOST, FINEST = 1, 40, -6


class FigureField(NumberField):
    """A figure that may lie below zero, such as a temperature."""

    def read(self, typed: str) -> Decimal:
        figure = super().read(typed.removeprefix("-"))
        if int(figure.as_tuple().exponent) < FINEST:
            raise Unreadable(said("Write no more than six digits after the point."))
        return -figure if typed.startswith("-") else figure


class LimitForm(PageForm):
    name = forms.CharField(
        label=_("Property"), max_length=80, help_text=_("Such as pH, or peroxide value")
    )
    low = FigureField(label=_("At least"), required=False)
    high = FigureField(label=_("At most"), required=False)
    unit = forms.CharField(label=_("Unit"), max_length=32, required=False)
    text = forms.CharField(label=_("Or in words"), max_length=200, required=False)


class ResultForm(PageForm):
    name = forms.CharField(label=_("Property"), max_length=80)
    value = FigureField(label=_("Figure"), required=False)
    unit = forms.CharField(label=_("Unit"), max_length=32, required=False)
    text = forms.CharField(label=_("Or in words"), max_length=200, required=False)


class WhyForm(PageForm):
    reason = forms.CharField(label=_("Why it is changed"), max_length=400, required=False)


class WhenForm(PageForm):
    tested_on = DayField(label=_("Tested on"))


class LotResults(Screen):
    """The tests of a lot against what is asked of its material."""

    template = "pages/lot_results.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        lot = show_lot(self.actor, id)
        limits = in_force(*versions_of(self.actor, lot["material"])[:1])
        typed = {"results": str(len(limits) + (0 if limits else SPARE))}
        for place, one in enumerate(limits):
            typed |= {f"results-{place}-name": one.name, f"results-{place}-unit": one.unit}
        when = WhenForm(reader=self.reader, initial={"tested_on": day_of(self.actor, self.now)})
        return self._page(lot, WithRows(when, self._rows(typed, judged=False)))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        lot = show_lot(self.actor, id)
        data = request.POST
        if data.get("do") == "more":
            when = WhenForm(reader=self.reader, initial={"tested_on": data.get("tested_on", "")})
            return self._page(lot, WithRows(when, self._rows(data, judged=False, more=1)))
        forms = WithRows(WhenForm(data, reader=self.reader), self._rows(data))
        return self.act(
            forms,
            lambda: retesting.record_results(
                self.actor,
                lot=id,
                found=[Found(**form.cleaned_data) for form in forms.rows.filled],
                tested_on=forms.whole.cleaned_data["tested_on"],
                today=day_of(self.actor, self.now),
            ),
            lambda tested: f"/lots/{id}/results",
            lambda: self._page(lot, forms, status=422),
        )

    def _rows(self, data: Any, *, judged: bool = True, more: int = 0) -> Rows:
        return Rows(ResultForm, "results", data, reader=self.reader, judged=judged, more=more)

    def _page(self, lot: dict[str, Any], forms: WithRows, *, status: int = 200) -> HttpResponse:
        found = retesting.results_of(self.actor, lot["id"]).order_by("-tested_on", "-id")
        return self.show(
            lot=lot,
            found=[(one, words_of(one.limit, self.reader)) for one in found[:MOST]],
            again=retesting.retests_of(self.actor, lot["id"]).order_by("-id")[:MOST],
            form=forms.whole if self.actor.may(Verb.DECIDE) else None,
            rows=forms.rows,
            status=status,
        )


class MaterialLimits(Screen):
    """What the maker asks of a material; a change is the next version."""

    template = "pages/material_limits.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        material_for(self.actor, id)
        limits = in_force(*versions_of(self.actor, id)[:1])
        typed = {"limits": str(len(limits) + SPARE)}
        for place, one in enumerate(limits):
            figures = {"low": one.low, "high": one.high}
            typed |= {
                f"limits-{place}-{name}": getattr(one, name) for name in ("name", "unit", "text")
            }
            typed |= {
                f"limits-{place}-{name}": self.reader.figure(value)
                for name, value in figures.items()
            }
        return self._page(
            id, WithRows(WhyForm(reader=self.reader), self._rows(typed, judged=False))
        )

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        material_for(self.actor, id)
        data = request.POST
        if data.get("do") == "more":
            why = WhyForm(reader=self.reader, initial={"reason": data.get("reason", "")})
            return self._page(id, WithRows(why, self._rows(data, judged=False, more=1)))
        forms = WithRows(WhyForm(data, reader=self.reader), self._rows(data))
        return self.act(
            forms,
            lambda: retesting.specify(
                self.actor,
                material=id,
                limits=[Limit(**form.cleaned_data) for form in forms.rows.filled],
                reason=forms.whole.cleaned_data["reason"],
            ),
            lambda made: f"/materials/{id}/limits",
            lambda: self._page(id, forms, status=422),
        )

    def _rows(self, data: Any, *, judged: bool = True, more: int = 0) -> Rows:
        return Rows(LimitForm, "limits", data, reader=self.reader, judged=judged, more=more)

    def _page(self, id: UUID, forms: WithRows, *, status: int = 200) -> HttpResponse:
        versions = list(versions_of(self.actor, id)[:MOST])
        return self.show(
            material=material_for(self.actor, id),
            versions=versions,
            limits=[(one, words_of(one, self.reader)) for one in in_force(*versions[:1])],
            form=forms.whole if self.actor.may(Verb.DECIDE) else None,
            rows=forms.rows,
            status=status,
        )


def versions_of(actor: Actor, material: UUID | str) -> "QuerySet[Specification]":
    """What was asked of a material, the version in force first."""
    return retesting.specifications_of(actor, material).order_by("-number")


def in_force(version: Specification | None = None) -> list[SpecificationLimit]:
    """The limits of a version, in their order; none where nothing is asked."""
    limits = version.limits.all() if version else []
    return sorted(limits, key=lambda one: one.position)


def words_of(limit: SpecificationLimit | None, reader: Reader) -> str:
    """A limit in words, its figures as the reader writes them."""
    if limit is None:
        return ""
    if limit.text:
        return str(limit.text)
    said_of = {
        (True, True): said("%(low)s to %(high)s"),
        (True, False): said("at least %(low)s"),
        (False, True): said("at most %(high)s"),
    }[limit.low is not None, limit.high is not None]
    figures = {"low": _shown(limit.low, reader), "high": _shown(limit.high, reader)}
    return f"{said_of % figures} {limit.unit}".strip()


def _shown(value: Decimal | None, reader: Reader) -> str:
    return "" if value is None else reader.number(value)
