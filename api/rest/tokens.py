"""Signing in and out."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api import rate, signing
from api.operation import Resource, writes
from api.rest import examples
from api.rest.fields import Body, Id, Moment, Text
from ledger.access import Actor


class TokenIn(Body):
    username = Text(max_length=150)
    password = Text(max_length=200, trim_whitespace=False, style={"input_type": "password"})
    coop = Text(max_length=60, required=False, help_text="The slug, if you belong to several.")
    scope = serializers.ChoiceField(
        ["all", "read"], default="all", help_text="A token to read with can change nothing."
    )


class CoopOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    currency = Text()


class MakerOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    role = Text()


class TokenOut(serializers.Serializer[Any]):
    token = Text()
    expires_at = Moment()
    coop = CoopOut()
    makers = MakerOut(many=True)
    roles = serializers.ListField(child=Text())


class Tokens(APIView):
    """Sign in. The token is shown once; only a digest of it is kept."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        rate.check(request)

    @extend_schema(request=TokenIn, responses={201: TokenOut}, examples=examples.TOKEN)
    def post(self, request: Request) -> Response:
        """Sign in with user name and password; send the token as "Authorization: Bearer"."""
        body = TokenIn(data=request.data)
        body.is_valid(raise_exception=True)
        data = body.validated_data
        token, expires_at, places = signing.sign_in(
            request._request,
            username=data["username"],
            password=data["password"],
            coop=data.get("coop"),
            read_only=data["scope"] == "read",
        )
        first = places[0]
        makers = [
            {"id": str(place.maker_id), "name": place.maker_name, "role": place.role}
            for place in places
            if place.maker_id
        ]
        return Response(
            {
                "token": token,
                "expires_at": expires_at,
                "coop": {
                    "id": str(first.coop_id),
                    "name": first.coop_name,
                    "currency": first.currency,
                },
                "makers": makers,
                "roles": [place.role for place in places if place.maker_id is None],
            },
            201,
            headers={"Cache-Control": "no-store"},
        )


class CurrentToken(Resource):
    """The token that the request came with."""

    @writes(None, None, status=204, keyed=False)
    def delete(self, actor: Actor) -> None:
        """Sign out: the token is worth nothing from now on."""
        signing.sign_out(self.request)
