"""What containers hold, by filling them with water, and what is given away by filling by eye."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.container_workings import held_told, leaks_told
from api.pages.forms import GramsField, NumberField, PageForm, QuantityField, Rows, Typed, WithRows
from api.pages.screen import Screen
from api.separators import NUMBER
from formulas import containers
from formulas.leaks import Leak, leaks
from formulas.models import Container as Kept
from formulas.models import WaterFilling
from ledger.access import material_for
from ledger.models import Material
from ledger.quantities import parse_temperature
from ledger.roles import Verb

MOST, PIECES = 60, 3
LEVELS: Final = {
    Kept.Level.USABLE.value: _("to the level it is filled to"),
    Kept.Level.BRIMFUL.value: _("to the brim"),
}


class TemperatureField(Typed):
    """A temperature as it was read, in degrees Celsius unless a unit is named."""

    def read(self, typed: str) -> str:
        named = f"{typed} degC" if NUMBER.fullmatch(typed) else typed
        parse_temperature(named)
        return named


class FactsForm(PageForm):
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    nominal = QuantityField(label=_("It is sold as holding"), help_text=_("Such as 250 mL"))
    headspace_percent = NumberField(
        label=_("To stay empty, percent"),
        required=False,
        help_text=_("Of what it holds to the brim; counts where no fill level was measured"),
    )


class FillForm(PageForm):
    level = forms.ChoiceField(
        label=_("Filled with water"),
        choices=list(LEVELS.items()),
        initial=Kept.Level.USABLE.value,
        widget=forms.RadioSelect,
    )
    at = TemperatureField(label=_("The water has"), help_text=_("Such as 20 °C"))


class PieceForm(PageForm):
    gross = GramsField(label=_("Full, g"))
    tare = GramsField(label=_("Empty, g"))

    def piece(self) -> containers.Piece:
        return containers.Piece(**self.cleaned_data)


class Containers(Screen):
    """What all containers hold, and which give away."""

    template = "pages/containers.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        actor = self.actor
        most = tables.MOST_ROWS if tables.asked(request) else MOST
        rows = containers.containers_of(actor).order_by(Lower("material__name"), "id")
        found = list(rows[: most + 1])
        given = leaks(actor, now=self.now)
        return self.show(
            files={"": lambda: _held(found), "leaks": lambda: leaks_table(given, actor.currency)},
            found=[(row, containers.beyond_nominal(row)) for row in found[:MOST]],
            more=len(found) > MOST,
            leaks=given[:MOST],
            leaks_told=leaks_told(given[:MOST], self.reader),
        )


class Container(Screen):
    """What one container holds."""

    template = "pages/container.html"
    called: ClassVar = {"": "nominal"}

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        material, row = self._found(id)
        return self._page(material, row, self._facts(row), self._pieces(None))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        (material, row), data = self._found(id), request.POST
        if data.get("do") == "facts":
            facts = FactsForm(data, reader=self.reader)
            return self.act(
                facts,
                lambda: containers.set_container(
                    self.actor,
                    material=id,
                    nominal=facts.cleaned_data["nominal"],
                    headspace_percent=facts.cleaned_data["headspace_percent"]
                    or containers.NO_HEADSPACE,
                    version=facts.cleaned_data["version"],
                ),
                lambda kept: f"/materials/{id}/container",
                lambda: self._page(material, row, facts, self._pieces(None), status=422),
            )
        pieces = self._pieces(data)
        if data.get("do") == "more":
            return self._page(material, row, self._facts(row), pieces)
        return self.act(
            pieces,
            lambda: containers.record_water_fill(
                self.actor,
                material=id,
                **pieces.whole.cleaned_data,
                pieces=[one.piece() for one in pieces.rows.filled if isinstance(one, PieceForm)],
                happened_at=self.now,
            ),
            lambda kept: f"/materials/{id}/container",
            lambda: self._page(material, row, self._facts(row), pieces, status=422),
        )

    def _found(self, id: UUID) -> tuple[Material, Kept | None]:
        """The material, and what is known of it as a container."""
        row = containers.containers_of(self.actor).filter(material_id=id).first()
        return (row.material, row) if row else (material_for(self.actor, id), None)

    def _facts(self, row: Kept | None) -> PageForm:
        """The facts as they are, to be changed; of what is no container yet, as none."""
        if row is None:
            return FactsForm(reader=self.reader, initial={"version": None})
        typed = {
            "version": row.version,
            "nominal": self.reader.entered(row.nominal_entered),
            "headspace_percent": self.reader.figure(row.headspace_percent),
        }
        return FactsForm(reader=self.reader, initial=typed)

    def _pieces(self, data: Any) -> WithRows:
        """The pieces as they were typed, judged where they are to be kept."""
        keep = data is not None and data.get("do") != "more"
        more = 0 if data is None or keep else 1
        typed = {"pieces": str(PIECES)} if data is None else data
        rows = Rows(PieceForm, "pieces", typed, reader=self.reader, judged=keep, more=more)
        first = {} if data is None else {name: data.get(name) for name in ("level", "at")}
        whole = FillForm(data if keep else None, reader=self.reader, initial=first or None)
        return WithRows(whole, rows)

    def _page(
        self,
        material: Material,
        row: Kept | None,
        facts: PageForm,
        fill: WithRows,
        status: int = 200,
    ) -> HttpResponse:
        actor = self.actor
        given = leaks(actor, now=self.now, material=material.id) if row else []
        fills: list[WaterFilling] = []
        if row is not None:
            most = tables.MOST_ROWS if tables.asked(self.request) else MOST
            fills = list(row.water_fillings.order_by("-id")[:most])
        return self.show(
            files={"": lambda: _fills(fills), "leaks": lambda: leaks_table(given, actor.currency)},
            material=material,
            row=row,
            beyond=containers.beyond_nominal(row) if row else None,
            leaks=given[:MOST],
            leaks_told=leaks_told(given[:MOST], self.reader),
            told=held_told(row, fills, self.reader) if row else [],
            fills=[(one, LEVELS[one.level]) for one in fills],
            facts=facts if actor.may(Verb.FORMULATE) and material.counted else None,
            form=fill.whole if actor.may(Verb.MAKE) and row else None,
            rows=fill.rows,
            status=status,
        )


def leaks_table(found: Iterable[Leak], currency: str) -> tables.Table:
    """What each product gives away where its containers are filled by eye."""
    columns = [said("Product"), said("A piece gives away, mL"), said("A piece gives away, g")]
    columns += [f"{said('Worth')}, {currency}", said("Pieces in a year")]
    columns += [said("A year gives away, g"), f"{said('Worth')}, {currency}"]
    cells = (
        (
            *(one.product.name, one.millilitres),
            *((one.piece.grams, one.piece.money) if one.piece else (None, None)),
            *((one.year.units, one.year.grams, one.year.money) if one.year else (None,) * 3),
        )
        for one in found
    )
    return tables.Table("given-away", columns, cells)


def _held(found: Iterable[Kept]) -> tables.Table:
    columns = [said("Container"), said("Sold as holding, mL"), said("To the brim, mL")]
    columns += [said("To its level, mL"), said("May be filled, mL"), said("Beyond nominal, mL")]
    cells = []
    for row in found:
        beyond = containers.beyond_nominal(row)
        level: list[Decimal | None] = [row.brimful_mean, row.usable_mean, row.usable_ml]
        cells.append((row.material.name, row.nominal_ml, *level, beyond[0] if beyond else None))
    return tables.Table("containers", columns, cells)


def _fills(fills: Iterable[WaterFilling]) -> tables.Table:
    """Every piece that was filled with water."""
    columns = [said("When"), said("Filled"), said("Water, °C"), said("Full, g")]
    columns += [said("Empty, g"), said("Holds, mL")]
    cells = (
        (
            *(row.happened_at.isoformat(), str(LEVELS[row.level]), row.celsius),
            *(Decimal(piece[name]) for name in ("gross", "tare", "millilitres")),
        )
        for row in fills
        for piece in row.pieces
    )
    return tables.Table("water-fills", columns, cells)
