"""How what a size of a formula needs came about, and what of it is at hand; opened in place."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages.reader import Reader
from api.pages.workings import Line, Working, address, with_rest
from formulas.balances import NeededLine, Needs
from formulas.reserving import free_lots
from ledger.access import day_of, material_for
from ledger.quantities import kept_in

ZERO: Final = Decimal(0)


def needed(needs: Needs, reader: Reader) -> list[Line]:
    """What each line needs: its percent of the pot, and what was rounded; and what comes out."""
    pieces = Decimal(needs.units or 0)
    return [
        *(_packed(one.material.name, one.quantity, pieces, reader) for one in needs.packaging),
        *(_line(one, needs.scaled.batch_grams, reader) for one in needs.lines),
        _comes_out(needs, reader),
    ]


def _packed(name: str, count: Decimal, pieces: Decimal, reader: Reader) -> Line:
    how = f"{reader.number(pieces)} · {reader.number(count / pieces)}" if pieces else ""
    return Line(name, count, "each", how=how)


def _line(one: NeededLine, pot: Decimal, reader: Reader) -> Line:
    exact = one.line.percent * pot / 100
    how = f"{reader.number(one.line.percent)} % · {reader.number(pot)} g"
    parts = [Line(said("of what goes into the pot"), exact, "g", how=how)]
    if exact != one.grams:
        called = said("to what a scale shows, so that all lines come to the pot")
        parts.append(Line(called, one.grams - exact, "g"))
    return Line(one.need.material.name, one.grams, "g", parts=tuple(parts))


def _comes_out(needs: Needs, reader: Reader) -> Line:
    scaled, loss = needs.scaled, needs.version.process_loss_percent
    parts = (
        Line(said("goes into the pot"), scaled.batch_grams, "g"),
        Line(
            said("less the usual loss"),
            scaled.output_grams - scaled.batch_grams,
            "g",
            how=f"{reader.number(loss)} %",
        ),
    )
    return Line(said("Comes out"), scaled.output_grams, "g", parts=parts)


class Free(Working):
    """What of a material may be used today and is promised to no batch, lot by lot."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        material = material_for(self.actor, id)
        unit = kept_in(material.counted)
        found = free_lots(self.actor, material.id, day_of(self.actor, self.now))
        lines = [Line(lot.code, free, unit, to=address("lots", lot.id)) for lot, free in found]
        whole = _sum(lines)
        shown = lines[: self.most]
        parts = with_rest(shown, whole, len(lines) - len(shown), unit)
        how = said("what may be used today, less what is promised to batches")
        figure = Line(said("At hand"), whole, unit, how=how, parts=parts)
        return self.opened(figure, address("materials", material.id), material.name)


def _sum(lines: Iterable[Line]) -> Decimal:
    return sum((one.amount or ZERO for one in lines), ZERO)
