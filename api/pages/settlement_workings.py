"""How what is owed at the end of a month came about; opened in place."""

from datetime import date, timedelta
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages.forms import id_in
from api.pages.settlement import MONTH
from api.pages.words import movement
from api.pages.workings import Line, Working, address, with_rest
from ledger import coop_clearing, settling
from ledger.access import day_of
from ledger.months import month_of
from ledger.settling import ZERO
from ledger.transferring import maker_for


class Owed(Working):
    """What was owed before a month, and every movement since; above nothing it is owed to you."""

    def get(self, request: HttpRequest) -> HttpResponse:
        if self.actor.maker_id is None:
            return self._of_maker(id_in(request.GET.get("maker", "")))
        asked, maker = request.GET.get("month", ""), id_in(request.GET.get("maker", ""))
        day, other = day_of(self.actor, self.now), UUID(maker) if maker else None
        if MONTH.fullmatch(asked):
            day = date.fromisoformat(f"{asked}-01")
        month = month_of(self.actor, day, other=other)
        rows = settling.movements_of(
            self.actor, since=month.first, until=month.last, other=other
        ).order_by("id")
        count, money = rows.count(), self.actor.currency
        before = f"{month.first - timedelta(days=1):%Y-%m}"
        begin = address("settlement", "statement", month=before, maker=maker)
        lines = [Line(said("owed before"), month.opening, money, to=begin)]
        lines += [
            Line(
                " · ".join(
                    filter(
                        None,
                        (
                            self.reader.day(one.movement.happened_on),
                            movement(one.movement.kind),
                            one.goods,
                            one.name,
                        ),
                    )
                ),
                one.amount,
                money,
                facts={"reason": one.movement.note},
                to=address("movements", one.movement.id),
            )
            for one in settling.seen_by(self.actor, list(rows[: self.most]))
        ]
        name = said("Owed to you after %(day)s") % {"day": self.reader.day(month.last)}
        others = count - (len(lines) - 1)
        parts = with_rest(lines, month.closing, others, money)
        figure = Line(name, month.closing, money, parts=parts)
        here = f"{month.first:%Y-%m}"
        back = address("settlement", "statement", month=here, maker=maker)
        return self.opened(figure, back)

    def _of_maker(self, maker: str | None) -> HttpResponse:
        """For the coordinator: with whom a maker stands how; what for is between those two.

        Without a maker how each stands: what some are owed, others owe.
        """
        money, back = self.actor.currency, address("settlement")
        if maker is None:
            stand = coop_clearing.propose(self.actor).positions
            all_of = tuple(
                Line(one.name, one.amount, money, to=f"{self.request.path}?maker={one.maker}")
                for one in stand
            )
            return self.opened(Line(said("Owed among all makers"), ZERO, money, parts=all_of), back)
        found = coop_clearing.balances_with(self.actor, UUID(maker))
        whole = sum((one.amount for one in found), ZERO)
        parts = tuple(Line(one.name, one.amount, money) for one in found)
        figure = Line(said("Owed to it by all others"), whole, money, parts=parts)
        return self.opened(figure, back, maker_for(self.actor, maker).name)
