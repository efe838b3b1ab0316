"""What filling bulk cost beside what it should have cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages import tables
from api.pages.screen import Screen
from formulas.access import fills_of
from formulas.errors import StandardMissing
from formulas.fill_comparing import JudgedFill, variances_of_fill
from formulas.variance_workings import working_of
from formulas.variances import InputVariance, Split
from ledger.access import find
from ledger.errors import Conflict, DensityMissing
from ledger.money import minor_unit, round_together
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that went in: what it cost and should have, and what of that its price explains (of
    work, its rate); the rest is how much of it went in, or how long it took."""

    name: str
    actual: Decimal
    standard: Decimal
    price: Decimal

    @property
    def total(self) -> Decimal:
        return self.actual - self.standard

    @property
    def usage(self) -> Decimal:
        return self.total - self.price


class FillVariances(Screen):
    """A fill against its standards, thing by thing; or what is missing to tell."""

    template = "pages/fill_variances.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.SEE_COSTS)
        row: Any = find(fills_of(self.actor).select_related("product__formula"), id)
        try:
            judged = variances_of_fill(self.actor, id)
        except (StandardMissing, DensityMissing, Conflict) as missing:
            why = self.reader.say(missing.detail)
            return self.show(fill=row, missing=why, version=missing.facts.get("version"))
        parts = _parts(judged)
        return self.show(
            files={"": lambda: _table(judged, parts, self.actor.currency)},
            fill=row,
            judged=judged,
            parts=self._as_shown(parts),
            figure=working_of(self.actor, judged),
        )

    def _as_shown(self, parts: Sequence[Part]) -> list[Part]:
        """The same in whole coins, which still add up to their sums."""
        step = minor_unit(self.actor.currency)
        columns = [
            round_together([getattr(one, name) for one in parts], step=step)
            for name in ("actual", "standard", "price")
        ]
        return [
            Part(one.name, *figures)
            for one, figures in zip(parts, zip(*columns, strict=True), strict=True)
        ]


def _parts(judged: JudgedFill) -> list[Part]:
    told, names = judged.variances, judged.names
    lines: list[tuple[str, InputVariance | Split]]
    lines = [(names[one.name], one) for one in told.materials]
    lines += [(names[id], one) for id, one in told.packaging.items()]
    if told.labour.actual or told.labour.standard:
        lines.append((said("Work"), told.labour))
    return [Part(name, one.actual, one.standard, one.price) for name, one in lines]


def _table(judged: JudgedFill, parts: Sequence[Part], currency: str) -> tables.Table:
    names = [said("Cost"), said("Standard"), said("By price"), said("By quantity")]
    columns = [said("What"), *(f"{name}, {currency}" for name in [*names, said("Difference")])]
    cells = [(one.name, one.actual, one.standard, one.price, one.usage, one.total) for one in parts]
    return tables.Table(f"fill-{judged.compared.filling.lot.code}", columns, cells)
