"""Documents: files that are kept with a lot."""

from typing import Any

from django.utils.http import content_disposition_header
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers

from api.forms import File, Form
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.printing import Printed
from api.rest.fields import Body, Choice, Id, Moment, Text
from ledger import documents
from ledger.access import Actor
from ledger.file_types import FileType
from ledger.models import Document

KINDS = [kind.value for kind in Document.Kind]
TYPES = [one.value for one in FileType]


class DocumentIn(Body):
    """A form, since a file goes with it."""

    file = File(help_text="A PDF, PNG, JPEG or WebP, recognised by its own bytes.")
    kind = Choice(KINDS, help_text="coa is a certificate of analysis, sds a safety data sheet.")
    note = Text(
        max_length=400,
        required=False,
        allow_blank=True,
        help_text="Goes with the lot, as the file does, when it moves to another maker.",
    )


class DocumentOut(serializers.Serializer[Any]):
    id = Id()
    lot = Id()
    kind = serializers.ChoiceField(KINDS)
    note = Text(allow_blank=True)
    name = Text(help_text="As it was sent, made safe.")
    content_type = serializers.ChoiceField(TYPES)
    size = serializers.IntegerField(help_text="In bytes.")
    sha256 = Text(help_text="Of the bytes, in hexadecimal digits.")
    maker = Id(help_text="The holder of the lot who attached it.")
    maker_name = Text()
    person = Id(allow_null=True, help_text="Null where another maker attached it.")
    recorded_at = Moment()


def document_json(row: Any, actor: Actor) -> dict[str, Any]:
    own = row.maker_id == actor.maker_id
    return {
        "id": str(row.id),
        "lot": str(row.lot_id),
        "kind": row.kind,
        "note": row.note,
        "name": row.name,
        "content_type": row.content_type,
        "size": row.size,
        "sha256": bytes(row.sha256).hex(),
        "maker": str(row.maker_id),
        "maker_name": row.attached_by,
        "person": str(row.person_id) if own else None,
        "recorded_at": row.recorded_at,
    }


class LotDocuments(Resource):
    """The files that are kept with a lot."""

    parser_classes = (Form,)

    @reads(Paged, page_of(DocumentOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the documents of a lot, the latest first, whoever of its holders attached them."""
        rows = documents.documents_of(actor, id)
        return page(self.request, query, rows, lambda row: document_json(row, actor))

    @writes(DocumentIn, DocumentOut, encoding={"file": {"contentType": ", ".join(TYPES)}})
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Attach a file to a lot, such as its certificate; it is never changed or removed."""
        file = data["file"]
        made = documents.attach_document(
            actor,
            lot=id,
            kind=data["kind"],
            note=data.get("note", ""),
            content=file.content,
            name=file.name,
            said=file.said,
        )
        return document_json(made, actor)


class OneDocument(Resource):
    """One document."""

    @reads(None, DocumentOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show what is known of a document."""
        return document_json(documents.document_for(actor, id), actor)


class DocumentFile(Printed):
    """The file of a document."""

    @reads(
        None,
        {
            **{
                (200, kind): OpenApiResponse(OpenApiTypes.BINARY, description="As it came.")
                for kind in TYPES
            },
            304: OpenApiResponse(description="If-None-Match names the ETag of the file."),
        },
    )
    def get(self, actor: Actor, id: str) -> Sent:
        """Download a document: the very bytes that were attached."""
        found = documents.document_for(actor, id)
        tag = f'"{bytes(found.sha256).hex()}"'
        # It never changes, but who may see it is asked each time.
        headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
        known = {one.strip() for one in self.request.headers.get("If-None-Match", "").split(",")}
        if known & {tag, f"W/{tag}", "*"}:
            return Sent(None, 304, headers)
        headers["Content-Disposition"] = content_disposition_header(True, found.name) or ""
        return Sent(documents.file_of(actor, id), 200, headers, found.content_type)
