"""The addresses of the API and of the pages."""

from django.urls import include, path

urlpatterns = [path("api/v1/", include("api.rest.urls"))]
