"""How what is owed at the end of a month came about; opened in place."""

from datetime import date, timedelta
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages.forms import id_in
from api.pages.settlement import MONTH
from api.pages.words import movement
from api.pages.workings import Line, Working, address, with_rest
from ledger import settling
from ledger.access import day_of
from ledger.months import month_of


class Owed(Working):
    """What was owed before a month, and every movement since; above nothing it is owed to you."""

    def get(self, request: HttpRequest) -> HttpResponse:
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
                f"{self.reader.day(one.movement.happened_on)} · "
                f"{movement(one.movement.kind)} · {one.name}",
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
