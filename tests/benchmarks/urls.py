"""The server's addresses, and beside them the list as Django REST framework has it out of the box.

The plain view signs in and sets the walls as ours does; the rest is a ModelViewSet with a
ModelSerializer and page numbers, as its tutorial shows.
"""

from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponseBase
from django.urls import include, path
from rest_framework import pagination, renderers, serializers, viewsets
from rest_framework.authentication import BaseAuthentication
from rest_framework.request import Request
from rest_framework.routers import SimpleRouter

from api.signing import actor_of
from ledger.models import Lot


class TokenAuthentication(BaseAuthentication):
    """The same token, looked up in the same way."""

    def authenticate(self, request: Request) -> tuple[Any, Any]:
        return actor_of(request, None), None


class LotSerializer(serializers.ModelSerializer[Lot]):
    class Meta:
        model = Lot
        fields = "__all__"


class Hundred(pagination.PageNumberPagination):
    page_size = 100


class PlainLots(viewsets.ModelViewSet[Lot]):
    queryset = Lot.objects.order_by("-id")
    serializer_class = LotSerializer
    pagination_class = Hundred
    authentication_classes = (TokenAuthentication,)
    renderer_classes = (renderers.JSONRenderer,)

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        with transaction.atomic():
            return super().dispatch(request, *args, **kwargs)


router = SimpleRouter(trailing_slash=False)
router.register("lots", PlainLots)
urlpatterns = [path("", include("deploy.urls")), path("plain/", include(router.urls))]
