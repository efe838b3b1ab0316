"""What a batch wants of a material and what was weighed of it; opened in place."""

from collections.abc import Iterable
from decimal import ROUND_DOWN, Decimal
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages.workings import Line, Working, address, with_rest
from formulas.access import batch_for
from formulas.effect import headroom
from formulas.explaining_shares import ShareTold, share_told
from formulas.models import Batch
from formulas.pot import pot_of
from formulas.scaling import most_to_effect
from formulas.shares import TOLERANCE_PERCENT, shares_of
from ledger.access import day_of

ZERO = Decimal(0)
HUNDREDTH = Decimal("0.01")


class BatchShare(Working):
    """One material of a line: its percent of the pot and what was made up; or each weighing, or
    what the bench makes of them.

    Without a line, all that the batch wants, or what of it is weighed, each opened further.
    """

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        weighed = request.GET.get("figure") == "weighed"
        if "line" not in request.GET:
            batch = batch_for(self.actor, id)
            return self.opened(self._all(batch, weighed), f"/batches/{id}", batch.code)
        asked = {name: request.GET.get(name, "") for name in ("line", "material")}
        told = share_told(self.actor, batch=id, **asked)
        ways = {
            "weighed": self._weighed,
            "still": self._still,
            "tolerance": self._tolerance,
            "headroom": self._headroom,
        }
        way = ways.get(request.GET.get("figure", ""), self._wanted)
        return self.opened(way(told), f"/batches/{id}", told.batch.code)

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

    def _still(self, told: ShareTold) -> Line:
        """The target at the bench."""
        still = max(ZERO, told.wanted - told.weighed)
        parts = [self._wanted(told), *([self._less(told.weighed)] if told.weighed else [])]
        if told.wanted - told.weighed != still:
            more = told.weighed - told.wanted
            parts.append(Line(said("more is in than is wanted, so nothing is"), more, "g"))
        name = said("Still wanted of %(material)s") % {"material": told.material.name}
        return Line(name, still, "g", parts=tuple(parts))

    def _less(self, weighed: Decimal) -> Line:
        return Line(said("less what is in so far"), -weighed, "g")

    def _tolerance(self, told: ShareTold) -> Line:
        number = self.reader.number
        how = f"{number(TOLERANCE_PERCENT)} % · {number(told.wanted)} g"
        name = said("A weighing may lie so far from what is wanted")
        return Line(name, told.wanted * TOLERANCE_PERCENT / 100, "g", how=how)

    def _headroom(self, told: ShareTold) -> Line:
        """What may still go in to effect: a share of the final batch, of which it is part."""
        most, others = told.line.max_percent, pot_of(told.batch, told.line)
        left = None if most is None else headroom(others.others_final, others.own, most)
        if most is None or left is None:
            return self._wanted(told)
        ceiling = most_to_effect(others.others_final, most)
        number = self.reader.number
        shown = left.quantize(HUNDREDTH, ROUND_DOWN)
        of = {"most": number(most), "others": number(others.others_final)}
        how = said("%(most)s %% ÷ (100 %% - %(most)s %%) · %(others)s g, all else at the end") % of
        parts = [
            Line(said("the most of it, as part of the final batch"), ceiling, "g", how=how),
            *([self._less(others.own)] if others.own else []),
        ]
        if rest := shown - ceiling + others.own:
            called = said("to what a scale shows, never rounded up and never below nothing")
            parts.append(Line(called, rest, "g"))
        return Line(said("May still go in"), shown, "g", parts=tuple(parts))

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
