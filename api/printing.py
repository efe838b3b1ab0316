"""Operations that print: a sheet as HTML or PDF, whatever the header Accept says.

The query's `format` chooses, since whoever opens a link cannot choose a header. Refusals are
problems as everywhere.
"""

from collections.abc import Callable
from typing import Any, Final

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response

from api.operation import Resource, Sent, reads
from api.reading import FastJSON
from api.rest.fields import Body, Choice
from api.sheets import html
from api.sheets.blocks import PAPERS, Sheet


class PrintQuery(Body):
    """What every sheet may be asked for."""

    format = Choice(["html", "pdf"], required=False, help_text="html if left out.")
    paper = Choice(list(PAPERS), required=False, help_text="a4 if left out.")


# What an operation answers that prints.
SHEET: Final = {
    (200, "text/html"): OpenApiResponse(
        OpenApiTypes.STR, description="A page that asks for nothing else, with format=html."
    ),
    (200, "application/pdf"): OpenApiResponse(OpenApiTypes.BINARY, description="With format=pdf."),
}


class AnyAccept(BaseContentNegotiation):
    """Whatever is accepted: one renderer passes on what is ready."""

    def select_parser(self, request: Request, parsers: Any) -> Any:
        return parsers[0]

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> Any:
        return renderers[0], renderers[0].media_type


class Printed(Resource):
    """One sheet."""

    content_negotiation_class = AnyAccept
    renderer_classes = (FastJSON,)


def prints(
    takes: type[PrintQuery] = PrintQuery,
) -> Callable[[Callable[..., Any]], Callable[..., Response]]:
    """An operation whose method describes a Sheet."""

    def decorate(method: Callable[..., Sheet]) -> Callable[..., Response]:
        def run(self: Printed, actor: Any, query: dict[str, Any], **path: Any) -> Sent:
            return sent(method(self, actor, query, **path), query.get("format", "html"))

        run.__doc__, run.__name__ = method.__doc__, method.__name__
        return reads(takes, SHEET)(run)

    return decorate


def sent(sheet: Sheet, format: str) -> Sent:
    """A sheet in the form that was asked for."""
    name = "".join(one if one.isascii() and one.isalnum() else "-" for one in sheet.name)
    headers = {"Content-Disposition": f'inline; filename="{name}.{format}"'}
    if format == "pdf":
        # What draws takes as long to load as the rest of the server: the first who asks loads it.
        from api.sheets import pdf

        return Sent(pdf.render(sheet), headers=headers, kind="application/pdf")
    headers["Content-Security-Policy"] = html.policy()
    return Sent(html.render(sheet), headers=headers, kind="text/html; charset=utf-8")
