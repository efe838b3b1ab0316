"""Where a lot came from, and where all of it went."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse

from api.pages import side_tables
from api.pages.flows import picture
from api.pages.screen import Screen
from ledger.recalling import recall_list
from ledger.tracing import Direction, trace


class Trace(Screen):
    """A lot drawn between its sources and what was made of it."""

    template = "pages/trace.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        direction: Direction = "back" if request.GET.get("way") == "back" else "forward"
        traced = trace(self.actor, lot=id, direction=direction)
        drawn = picture(traced.lots, traced.lot.id) if len(traced.lots) > 1 else None
        files = {
            "": lambda: side_tables.on_the_way(traced),
            "whereabouts": lambda: side_tables.whereabouts(traced),
        }
        return self.show(files=files, traced=traced, way=direction, picture=drawn)


class RecallList(Screen):
    """Everyone who has some of a lot, or of what was made of it: to print, and to call."""

    template = "pages/recall_list.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        listed = recall_list(self.actor, lot=id)
        known = {lot.id: lot for lot in listed.lots}
        buyers = [(one, known[one.lot_id]) for one in listed.accounts]
        return self.show(listed=listed, buyers=buyers)
