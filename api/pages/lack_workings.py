"""What a planned batch lacks of a material, and what of it is in store; opened in place."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages.forms import id_in
from api.pages.workings import Line, Working, address, with_rest
from formulas.access import batch_for
from formulas.lacking_told import LackTold, lack_told, lacks_of
from formulas.models import Batch
from ledger.errors import NotFound
from ledger.models import Lot
from ledger.quantities import kept_in

ZERO: Final = Decimal(0)
Lots = Sequence[tuple[Lot, Decimal]]


class BatchLack(Working):
    """What is lacking of a material, or with `figure=there` what of it is there, lot by lot.

    Without a material, all that the batch lacks, each opened further.
    """

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        if "material" not in request.GET:
            batch = batch_for(self.actor, id)
            return self.opened(self._all(batch), f"/batches/{id}", batch.code)
        material = id_in(request.GET["material"])
        if material is None:
            raise NotFound
        told = lack_told(self.actor, batch=id, material=material)
        there = request.GET.get("figure") == "there"
        figure = self._there(told) if there else self._lacking(told)
        return self.opened(figure, f"/batches/{id}", told.batch.code)

    def _all(self, batch: Batch) -> Line:
        lines = [
            Line(
                one.name,
                one.quantity,
                kept_in(one.counted),
                to=address("batches", batch.id, "lack", material=one.material_id),
            )
            for one in lacks_of(self.actor, batch.id)[: self.most]
        ]
        return Line(said("Lacking"), parts=tuple(lines))

    def _lacking(self, told: LackTold) -> Line:
        unit, one = kept_in(told.lacking.counted), told.lacking
        promised = self._of_lots(said("less what is promised to it"), told.promised, unit, -1)
        parts = [
            Line(said("wanted by the batch"), told.wanted, unit, to=f"/batches/{told.batch.id}"),
            Line(said("less what is weighed in"), -told.weighed, unit),
            promised,
        ]
        rest = one.quantity - sum((part.amount or ZERO for part in parts), ZERO)
        parts.append(Line(said("settled otherwise at the bench"), rest, unit))
        name = said("Lacking of %(material)s") % {"material": one.name}
        return Line(name, one.quantity, unit, parts=tuple(part for part in parts if part.amount))

    def _there(self, told: LackTold) -> Line:
        unit, one = kept_in(told.lacking.counted), told.lacking
        free = self._of_lots(said("in store, promised to nobody"), told.free, unit, 1)
        less = one.there - (free.amount or ZERO)
        parts = [free, Line(said("less what others take first, or it does not need"), less, unit)]
        name = said("In store by now of %(material)s") % {"material": one.name}
        return Line(name, one.there, unit, parts=tuple(part for part in parts if part.amount))

    def _of_lots(self, name: str, lots: Lots, unit: str, sign: int) -> Line:
        lines: Iterable[Line] = (
            Line(lot.code, sign * quantity, unit, to=address("lots", lot.id))
            for lot, quantity in lots[: self.most]
        )
        whole = sum((sign * quantity for _, quantity in lots), ZERO)
        parts = with_rest(lines, whole, len(lots) - self.most, unit)
        return Line(name, whole, unit, parts=parts)
