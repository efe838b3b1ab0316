"""Reading forms with a file (multipart/form-data, RFC 7578), as strictly as JSON is read.

A form has few parts, each named once; one with a filename is a file. It is read whole, since no
file is larger than the server says (`LARGEST_FILE`): what is announced as larger is never read in.
"""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import IO, Any, Final

from django.conf import settings
from django.utils.http import parse_header_parameters
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.parsers import BaseParser

from api.errors import BadRequest, file_too_large
from api.reading import body_of, check
from ledger.errors import Sentence

MOST_PARTS: Final = 20
BOUNDARY: Final = re.compile(r"[ -~]{0,69}[!-~]")
# What a part's bytes may be said to be: themselves.
AS_THEY_ARE: Final = {"", "7bit", "8bit", "binary"}


@dataclass(frozen=True)
class Upload:
    """A file as it came: what its sender calls it, the media type it is said to be, its bytes."""

    name: str
    said: str
    content: bytes

    @cached_property
    def fingerprint(self) -> dict[str, str]:
        """What makes the same file the same, for a retry."""
        digest = hashlib.sha256(self.content).hexdigest()
        return {"name": self.name, "said": self.said, "sha256": digest}


class Form(BaseParser):
    """DRF's parser of forms."""

    media_type = "multipart/form-data"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None
    ) -> dict[str, str | Upload]:
        most = settings.LARGEST_FILE
        too_large = file_too_large()
        request = parser_context["request"]._request
        body = body_of(request, most + settings.FORM_ROOM, too_large)
        fields = read(body, media_type or "")
        for field in fields.values():
            if isinstance(field, Upload) and len(field.content) > most:
                raise too_large
        return fields


def read(body: bytes, media_type: str) -> dict[str, str | Upload]:
    """The fields of a form by name, each a text or a file. Raises BadRequest, saying why."""
    boundary = parse_header_parameters(media_type)[1].get("boundary", "")
    if not BOUNDARY.fullmatch(boundary):
        raise BadRequest("The Content-Type of a form names its boundary; let your client write it.")
    fields: dict[str, str | Upload] = {}
    for piece in _pieces(body, boundary.encode()):
        head, blank, content = piece.partition(b"\r\n\r\n")
        if not blank:
            raise BadRequest("A part of the form has no empty line after its headers.")
        name, field = _field(_text(head), content)
        if name in fields:
            raise BadRequest(
                Sentence("The field {name!r} stands twice in the form; send it once.", name=name)
            )
        fields[name] = field
    check(
        {name: one.name if isinstance(one, Upload) else one for name, one in fields.items()},
        depth=2,
    )
    return fields


def _pieces(body: bytes, boundary: bytes) -> Iterator[bytes]:
    """What lies between the boundaries: the headers of a part, an empty line, its bytes."""
    mark = b"\r\n--" + boundary
    first, *pieces = (b"\r\n" + body).split(mark, MOST_PARTS + 1)
    if first or not pieces or pieces[-1].rstrip(b"\r\n") != b"--":
        raise BadRequest(
            Sentence(
                "The form is not whole: it begins and ends with its boundary, and has at most"
                " {most_parts} parts.",
                most_parts=MOST_PARTS,
            )
        )
    for piece in pieces[:-1]:
        if not piece.startswith(b"\r\n"):
            raise BadRequest("The boundary of the form stands inside a part; choose another.")
        yield piece[2:]


def _field(head: str, content: bytes) -> tuple[str, str | Upload]:
    """The name of a part, and what it holds."""
    lines = [line.partition(":") for line in head.split("\r\n")]
    headers = {name.strip().lower(): value.strip() for name, _, value in lines}
    kind, facts = parse_header_parameters(headers.get("content-disposition", ""))
    if kind != "form-data" or "name" not in facts:
        raise BadRequest('Each part of a form says "Content-Disposition: form-data; name=…".')
    if headers.get("content-transfer-encoding", "").lower() not in AS_THEY_ARE:
        raise BadRequest("Send the bytes of a part as they are, without a transfer encoding.")
    if "filename" not in facts:
        return facts["name"], _text(content)
    said = parse_header_parameters(headers.get("content-type", ""))[0]
    return facts["name"], Upload(facts["filename"], said, content)


def _text(content: bytes) -> str:
    try:
        return content.decode()
    except UnicodeDecodeError as error:
        raise BadRequest("A text of the form is not UTF-8.") from error


@extend_schema_field({"type": "string", "format": "binary"})
class File(serializers.Field):  # type: ignore[type-arg]
    """A file in a form."""

    def to_internal_value(self, data: Any) -> Upload:
        if not isinstance(data, Upload):
            raise serializers.ValidationError(
                "Send a file here: a part of the form that has a filename.", code="not_a_file"
            )
        return data
