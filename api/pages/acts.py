"""A page of several forms, each of which says on its button what it does.

class Alerts(Acts):
    template = "pages/alerts.html"
    forms = {"add": ("mail", MailForm), "remove": ("pressed", ButtonBeside)}

    def do(self, act, form):
        …
        return "/alerts"

    def page(self, status=200, **forms):
        return self.show(mail=forms.get("mail") or MailForm(reader=self.reader), status=status)
"""

from collections.abc import Mapping
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse

from api.pages.forms import PageForm
from api.pages.screen import Once, Screen


class Acts(Screen):
    """A screen with a table of its acts: the name of the form on the page, and its kind."""

    forms: ClassVar[Mapping[str, tuple[str, type[PageForm]]]]

    def form(self, kind: type[PageForm], data: Any = None) -> Any:
        """A form of the page, empty or with what was sent; a screen gives it what is its own."""
        return kind(data, reader=self.reader)

    def do(self, act: str, form: Any) -> str | Once:
        """Do what a valid form says; where to go from there."""
        raise NotImplementedError

    def page(self, status: int = 200, **forms: Any) -> HttpResponse:
        """The page; a form that was refused stands in the place of the empty one."""
        raise NotImplementedError

    def get(self, request: HttpRequest, **path: Any) -> HttpResponse:
        return self.page()

    def post(self, request: HttpRequest, **path: Any) -> HttpResponse:
        act = request.POST.get("do", "")
        if act not in self.forms:
            return self.page(status=422)
        name, kind = self.forms[act]
        form = self.form(kind, request.POST)
        return self.act(
            form,
            lambda: self.do(act, form),
            lambda to: to,
            lambda: self.page(status=422, **{name: form}),
        )
