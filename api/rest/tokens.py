"""Signing in and out."""

from typing import Any

from django.http import HttpRequest, HttpResponseBase
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api import rate, signing
from api.models import Token
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, Id, Moment, Text
from ledger.access import Actor

SCOPES = ["all", "read"]


class TokenIn(Body):
    username = Text(max_length=150)
    password = Text(max_length=200, trim_whitespace=False, style={"input_type": "password"})
    coop = Text(max_length=60, required=False, help_text="The slug, if you belong to several.")
    scope = Choice(SCOPES, default="all", help_text="A token to read with can change nothing.")
    note = Text(
        max_length=signing.LONGEST_NOTE,
        required=False,
        help_text="What it is for, as its list tells you again.",
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


class TokenBrief(serializers.Serializer[Any]):
    id = Id()
    created_at = Moment()
    expires_at = Moment()
    scope = serializers.ChoiceField(SCOPES)
    note = Text(allow_blank=True)
    current = serializers.BooleanField(help_text="Whether this request came with it.")


class Tokens(Resource):
    """Sign in, and see where you are. A token is shown once; only a digest of it is kept."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Who signs in has no walls yet, and a wrong password must be kept though it is refused."""
        if request.method == "POST":
            return APIView.dispatch(self, request, *args, **kwargs)
        return super().dispatch(request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        if request.method == "POST":
            APIView.initial(self, request, *args, **kwargs)
            rate.check_address(request)
        else:
            super().initial(request, *args, **kwargs)

    @reads(Paged, page_of(TokenBrief))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """The tokens that you are signed in with to this co-op, newest first."""
        return page(self.request, query, signing.tokens_of(actor, now=self.now), self.shown)

    def shown(self, token: Token) -> dict[str, Any]:
        return {
            "id": str(token.id),
            "created_at": token.created_at,
            "expires_at": token.expires_at,
            "scope": "read" if token.read_only else "all",
            "note": token.note,
            "current": signing.is_current(token, signing.bearer(self.request)),
        }

    @writes(None, None, status=204, keyed=False)
    def delete(self, actor: Actor) -> None:
        """Sign out everywhere: all your tokens to this co-op end, this one too."""
        signing.end_all_tokens(actor, current=signing.bearer(self.request))

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
            note=data.get("note", ""),
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
        signing.end(signing.bearer(self.request))


class OneToken(Resource):
    """One of your tokens."""

    @writes(None, None, status=204, keyed=False)
    def delete(self, actor: Actor, id: str) -> None:
        """End one of your tokens, such as that of a device that is lost."""
        signing.end_token(actor, id, current=signing.bearer(self.request))
