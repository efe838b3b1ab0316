"""Where requests go."""

from django.http import HttpRequest, HttpResponse
from django.urls import include, path


def healthz(request: HttpRequest) -> HttpResponse:
    """The web server is alive. Nothing else is asked, so nothing else can make it fail."""
    return HttpResponse("ok\n", content_type="text/plain; charset=utf-8")


urlpatterns = [
    path("healthz", healthz),
    path("", include("api.urls")),
]

handler400 = "api.problems.bad_request"
handler404 = "api.problems.not_found"
handler500 = "api.problems.server_error"
