"""Pages for what is no page: an address that leads nowhere, a form from elsewhere, a fault."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from api.pages.reader import reader_of


def not_from_here(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without the token that its page gave it."""
    return _page(
        request, 403, _("This form was not sent from its own page, or it lay open for too long.")
    )


def bad_request(request: HttpRequest) -> HttpResponse:
    """What cannot be read at all, such as a form of a thousand fields."""
    return _page(request, 400, _("What was sent cannot be read. Open the page anew and try again."))


def not_found(request: HttpRequest) -> HttpResponse:
    return _page(request, 404, _("There is nothing at this address."))


def server_error(request: HttpRequest) -> HttpResponse:
    return _page(request, 500, _("This is a fault in the server; it has been written down."))


def _page(request: HttpRequest, status: int, said: Promise | str) -> HttpResponse:
    facts = {"reader": reader_of(request, None, None), "said": said}
    with translation.override(translation.get_language_from_request(request)):
        return render(request, "pages/fault.html", facts, status=status)
