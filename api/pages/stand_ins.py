"""What a formula allows at the bench: what may stand in for an ingredient, and how much rework."""

from collections.abc import Mapping
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import NumberField, PageForm, Rows, WithRows
from api.pages.reader import Reader
from api.pages.screen import Screen
from formulas.models import FormulaVersion, Line
from formulas.stand_ins import StandsIn, allow_rework, allow_stand_ins, allowed_by
from formulas.writing import name_of
from ledger.access import materials_visible_to
from ledger.roles import Verb

MOST_NAMES: Final = 300


class VersionForm(PageForm):
    """Of the version that was read, so that nobody's change is written over."""

    version = forms.IntegerField(widget=forms.HiddenInput)


class ReworkMaxForm(VersionForm):
    percent = NumberField(
        label=_("How much of a batch may be rework, percent"),
        required=False,
        help_text=_("Of the batch as it is planned; left empty, none"),
    )


class LineForm(VersionForm):
    active_percent = NumberField(
        label=_("Its own active matter, percent"),
        required=False,
        help_text=_(
            "By its data sheet; left empty on all, one stands in for the other gram by gram"
        ),
    )


class StandInForm(PageForm):
    called: ClassVar = {"/material": "name"}
    name = forms.CharField(
        label=_("May stand in"),
        max_length=200,
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
    )
    active_percent = NumberField(label=_("Active matter, percent"), required=False)


class StandInRows(Rows):
    MOST: ClassVar[int] = 10


class Forms(WithRows):
    """A line and what may stand in for it, sent as one."""

    def told(self) -> dict[str, Any]:
        typed = self.whole.cleaned_data
        return {
            "expected_version": typed["version"],
            "active_percent": typed["active_percent"],
            "stand_ins": [StandsIn(**form.cleaned_data) for form in self.rows.filled],
        }


class StandIns(Screen):
    """All lines of the version in force; the one that the address names can be changed."""

    template = "pages/stand_ins.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        version = allowed_by(self.actor, id)
        if tables.asked(request):
            return tables.file(tables.asked(request), _table(version))
        return self._page(version)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        version, here = allowed_by(self.actor, id), f"/formulas/{id}/stand-ins"
        if request.POST.get("do") == "rework":
            rework = ReworkMaxForm(request.POST, reader=self.reader)
            return self.act(
                rework,
                lambda: allow_rework(
                    self.actor,
                    formula=id,
                    expected_version=rework.cleaned_data["version"],
                    percent=rework.cleaned_data["percent"],
                ),
                lambda written: here,
                lambda: self._page(version, rework=rework, status=422),
            )
        line = self._line(version)
        if line is None:
            return self._page(version, status=422)
        if request.POST.get("do") == "more":
            return self._page(version, typed=self._forms(request.POST, judged=False))
        typed = self._forms(request.POST, judged=True)
        return self.act(
            typed,
            lambda: allow_stand_ins(self.actor, formula=id, line=line.position, **typed.told()),
            lambda written: here,
            lambda: self._page(version, typed=typed, status=422),
        )

    def _line(self, version: FormulaVersion) -> Line | None:
        """The line that the address names by its place."""
        wanted = self.request.GET.get("line", "")
        return next((one for one in version.lines.all() if str(one.position) == wanted), None)

    def _forms(self, data: Mapping[str, str], *, judged: bool) -> Forms:
        rows = StandInRows(
            *(StandInForm, "stand_ins", data),
            reader=self.reader,
            judged=judged,
            more=0 if judged else 1,
            optional=True,
        )
        line = LineForm(data, reader=self.reader) if judged else _shown(data, self.reader)
        return Forms(line, rows)

    def _page(
        self,
        version: FormulaVersion,
        *,
        typed: Forms | None = None,
        rework: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        line, may = self._line(version), self.actor.may(Verb.FORMULATE)
        facts: dict[str, Any] = {"version": version, "line": line, "may_write": may}
        if line is not None and may:
            typed = typed or self._forms(_as_typed(version, line, self.reader), judged=False)
            bought = materials_visible_to(self.actor).filter(maker=None, measured_by="mass")
            names = bought.order_by(Lower("name")).values_list("name", flat=True)
            facts |= {"form": typed.whole, "rows": typed.rows, "names": names[:MOST_NAMES]}
        most = version.rework_max_percent
        first = {
            "version": version.number,
            "percent": "" if most is None else self.reader.number(most),
        }
        facts["rework"] = rework or ReworkMaxForm(
            reader=self.reader, initial=first, auto_id="rework_%s"
        )
        return self.show(status=status, **facts)


def _shown(data: Mapping[str, str], reader: Reader) -> LineForm:
    typed = {name: data[name] for name in LineForm.base_fields if name in data}
    return LineForm(reader=reader, initial=typed)


def _as_typed(version: FormulaVersion, line: Line, reader: Reader) -> dict[str, str]:
    """A line and what stands in for it as the form would have been filled in."""
    alternates = list(line.alternates.all())
    typed = {"version": str(version.number), "stand_ins": str(len(alternates))}
    typed["active_percent"] = _percent(line.active_percent, reader)
    for place, one in enumerate(alternates):
        typed[f"stand_ins-{place}-name"] = one.material.name
        typed[f"stand_ins-{place}-active_percent"] = _percent(one.active_percent, reader)
    return typed


def _percent(value: Any, reader: Reader) -> str:
    return "" if value is None else reader.number(value)


def _table(version: FormulaVersion) -> tables.Table:
    """The lines and what may stand in for each, a row for each pair."""
    columns = [said("Ingredient"), said("Active matter, %"), said("May stand in")]
    columns.append(said("Its active matter, %"))
    cells = [
        (name_of(line), line.active_percent, one.material.name, one.active_percent)
        for line in version.lines.all()
        for one in line.alternates.all()
    ]
    return tables.Table("stand-ins", columns, cells)
