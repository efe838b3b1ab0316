"""Where requests go."""

from django.http import HttpRequest, HttpResponse
from django.urls import include, path

from api import problems
from api.pages import faults


def healthz(request: HttpRequest) -> HttpResponse:
    """The web server is alive. Nothing else is asked, so nothing else can make it fail."""
    return HttpResponse("ok\n", content_type="text/plain; charset=utf-8")


urlpatterns = [
    path("healthz", healthz),
    path("", include("api.urls")),
]


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """No such address: a page for a person, a problem for a program."""
    return faults.not_found(request) if _by_person(request) else problems.not_found(request)


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """What cannot be read, said likewise."""
    return faults.bad_request(request) if _by_person(request) else problems.bad_request(request)


def server_error(request: HttpRequest) -> HttpResponse:
    """A fault of ours, said likewise."""
    return faults.server_error(request) if _by_person(request) else problems.server_error(request)


def _by_person(request: HttpRequest) -> bool:
    wants_page = "text/html" in request.headers.get("Accept", "")
    return wants_page and not request.path.startswith("/api/")


handler400 = "deploy.urls.bad_request"
handler404 = "deploy.urls.not_found"
handler500 = "deploy.urls.server_error"
