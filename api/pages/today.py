"""The first page: what waits for the maker, one tap from what settles it."""

from django.http import HttpRequest, HttpResponse

from api.pages.screen import Screen
from formulas import today


class Today(Screen):
    template = "pages/today.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        if self.actor.maker_id is None:
            return self.render("pages/coordinator.html", {})
        return self.show(today=today.today(self.actor, now=self.now))
