"""The addresses of the API and of the pages."""

from django.urls import include, path

from api import health, problems, schema, static_files

urlpatterns = [
    path("readyz", health.readyz),
    path("api/v1/schema", schema.schema),
    path("api/v1/problems/<slug:code>", problems.explain),
    path("api/v1/", include("api.rest.urls")),
    path("static/<str:name>", static_files.static_file),
    path("", include("api.pages.urls")),
]
