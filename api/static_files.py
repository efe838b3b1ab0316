"""The few files that every page loads, read once and kept by browsers for as long as they like.

A file's address names its digest, so a new version has a new address. They are served from here
and not by the web server in front, so that any WSGI server shows whole pages.
"""

import gzip
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from django.http import Http404, HttpRequest, HttpResponse

FOLDER: Final = Path(__file__).parent / "static"
KINDS: Final = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}


@dataclass(frozen=True, slots=True)
class File:
    """A file, packed, and the address that names its version."""

    kind: str
    content: bytes
    packed: bytes
    address: str


def _read(path: Path) -> File:
    content = path.read_bytes()
    version = hashlib.sha256(content).hexdigest()[:12]
    packed = gzip.compress(content, 9, mtime=0)
    return File(KINDS[path.suffix], content, packed, f"/static/{path.name}?v={version}")


FILES: Final = {path.name: _read(path) for path in sorted(FOLDER.iterdir()) if path.suffix in KINDS}


def static_file(request: HttpRequest, name: str) -> HttpResponse:
    """One of the files; packed for whoever can unpack it."""
    file = FILES.get(name)
    if file is None:
        raise Http404
    packed = "gzip" in request.headers.get("Accept-Encoding", "")
    response = HttpResponse(file.packed if packed else file.content, content_type=file.kind)
    response["Vary"] = "Accept-Encoding"
    if packed:
        response["Content-Encoding"] = "gzip"
    current = request.get_full_path() == file.address
    response["Cache-Control"] = (
        "public, max-age=31536000, immutable" if current else "public, max-age=300"
    )
    return response
