"""What a batch wants of a material and what was weighed of it; opened in place."""

from collections.abc import Iterable
from decimal import Decimal
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages.workings import Line, Working, address, with_rest
from formulas.access import batch_for
from formulas.explaining_shares import ShareTold, share_told
from formulas.models import Batch
from formulas.shares import shares_of
from ledger.access import day_of

ZERO = Decimal(0)


class BatchShare(Working):
    """One material of a line: its percent of the pot and what was made up; or each weighing.

    Without a line, all that the batch wants, or what of it is weighed, each opened further.
    """

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        weighed = request.GET.get("figure") == "weighed"
        if "line" not in request.GET:
            return self.opened(self._all(batch_for(self.actor, id), weighed), f"/batches/{id}")
        asked = {name: request.GET.get(name, "") for name in ("line", "material")}
        told = share_told(self.actor, batch=id, **asked)
        return self.opened(self._weighed(told) if weighed else self._wanted(told), f"/batches/{id}")

    def _all(self, batch: Batch, weighed: bool) -> Line:
        figure = "weighed" if weighed else None
        lines = [
            Line(
                one.material.name,
                one.weighed if weighed else one.grams,
                "g",
                to=address(
                    *("batches", batch.id, "share"),
                    line=one.line.id,
                    material=one.material.id,
                    figure=figure,
                ),
            )
            for one in shares_of(batch)
        ]
        whole = sum((one.amount or ZERO for one in lines), ZERO)
        shown = lines[: self.most]
        parts = with_rest(shown, whole, len(lines) - len(shown), "g")
        return Line(said("Weighed in") if weighed else said("Wanted"), whole, "g", parts=parts)

    def _wanted(self, told: ShareTold) -> Line:
        name = said("Wanted of %(material)s") % {"material": told.material.name}
        return Line(name, told.wanted, "g", parts=tuple(self._parts(told)))

    def _parts(self, told: ShareTold) -> Iterable[Line]:
        if told.is_own:
            number = self.reader.number
            yield Line(
                said("of what goes into the pot"),
                told.by_percent,
                "g",
                how=f"{number(told.line.percent)} % · {number(told.batch.batch_grams)} g",
                facts={"entered": told.batch.asked_for},
            )
        if told.rounding:
            called = said("to what a scale shows, so that all lines come to the pot")
            yield Line(called, told.rounding, "g")
        for one in told.changes:
            made_up = {
                "material": one.top_up.material.name,
                "own": one.top_up.own_material.name,
                "day": self.reader.day(day_of(self.actor, one.top_up.created_at)),
            }
            called = said("since %(material)s makes up for %(own)s, %(day)s") % made_up
            yield Line(called, one.grams, "g")

    def _weighed(self, told: ShareTold) -> Line:
        name = said("Weighed of %(material)s") % {"material": told.material.name}
        lines = [
            Line(
                one.lot.code,
                one.quantity,
                "g",
                how=self.reader.day(day_of(self.actor, one.happened_at)),
                facts={"deviation": one.deviation},
                to=address("entries", one.entry_id),
            )
            for one in told.weighings
        ]
        shown = lines[: self.most]
        parts = with_rest(shown, told.weighed, len(lines) - len(shown), "g")
        return Line(name, told.weighed, "g", parts=parts)
