"""Where a lot came from, and where all of it went, as a picture and as tables."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse

from api.pages import side_tables
from api.pages.flows import picture
from api.pages.screen import Screen
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
