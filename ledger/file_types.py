"""What a file is by its own bytes, and the name it is kept under. Pure.

What the sender says of a file is believed only where its bytes agree. The marks are those of the
formats' own texts, named from memory: ISO 32000-1 7.5.2 and 7.5.5 for PDF, ISO/IEC 15948 clause 5
for PNG, ITU-T T.81 Annex B for JPEG, RFC 9649 for WebP. A file must also end where its format
ends, so that nothing cut off is kept as evidence, nor anything hidden behind it.
"""

import re
import unicodedata
import zlib
from enum import StrEnum
from itertools import pairwise
from typing import Final

from ledger.errors import FileDamaged, FileEmpty, FileMislabelled, FileTypeUnknown

LONGEST_NAME: Final = 120


class FileType(StrEnum):
    """A type of file that is kept, by its media type."""

    PDF = "application/pdf"
    PNG = "image/png"
    JPEG = "image/jpeg"
    WEBP = "image/webp"


# How the name of each may end; the first is given to a name that ends otherwise.
ENDINGS: Final = {
    FileType.PDF: ("pdf",),
    FileType.PNG: ("png",),
    FileType.JPEG: ("jpg", "jpeg"),
    FileType.WEBP: ("webp",),
}
BEGINNINGS: Final = {
    FileType.PDF: re.compile(rb"%PDF-[12]\.[0-9]"),
    FileType.PNG: re.compile(rb"\x89PNG\r\n\x1a\n"),
    FileType.JPEG: re.compile(rb"\xff\xd8\xff"),
    FileType.WEBP: re.compile(rb"RIFF....WEBP", re.DOTALL),
}
# Other names for the same, and what says nothing.
ALSO: Final = {
    "image/jpg": FileType.JPEG,
    "image/pjpeg": FileType.JPEG,
    "application/x-pdf": FileType.PDF,
}
SAYS_NOTHING: Final = {"", "application/octet-stream", "binary/octet-stream"}


def type_of_file(content: bytes, *, name: str = "", said: str = "") -> FileType:
    """The type of a file by its bytes. `said` is the media type that its sender gave, if any.

    Raises FileEmpty, FileTypeUnknown, FileMislabelled where the sender's word or the ending of the
    name is that of another type, and FileDamaged where it does not end as its type does.
    """
    if not content:
        raise FileEmpty
    found = next((kind for kind, mark in BEGINNINGS.items() if mark.match(content)), None)
    if found is None:
        raise FileTypeUnknown
    said = said.strip().lower()
    ending = _ending(name)
    if said not in SAYS_NOTHING and ALSO.get(said, said) != found:
        raise FileMislabelled(said=said, found=found.value)
    if any(ending in endings for kind, endings in ENDINGS.items() if kind != found):
        raise FileMislabelled(said=f".{ending}", found=found.value)
    if not _is_whole(content, found):
        raise FileDamaged(found=found.value)
    return found


def kept_name(name: str, kind: FileType) -> str:
    """A name that is safe on any disk and in any header: without its directories, whatever cannot
    be printed, and with the ending of its type. At most `LONGEST_NAME` characters.
    """
    last = re.split(r"[/\\]", unicodedata.normalize("NFC", name))[-1]
    plain = "".join(one if one.isprintable() and one not in '<>:"|?*' else "_" for one in last)
    endings = ENDINGS[kind]
    ending = _ending(plain)
    stem = plain[: -len(ending) - 1] if ending in endings else plain
    ending = ending if ending in endings else endings[0]
    stem = stem.strip(" .")[: LONGEST_NAME - len(ending) - 1].rstrip(" .")
    return f"{stem or 'document'}.{ending}"


def _ending(name: str) -> str:
    """The part of a name after its last point, in small letters."""
    _, point, ending = name.rpartition(".")
    return ending.strip().lower() if point else ""


def _is_whole(content: bytes, kind: FileType) -> bool:
    """Whether a file ends where its type says, with nothing behind it."""
    if kind is FileType.PDF:
        return content.rstrip(b"\r\n\t \x00").endswith(b"%%EOF")
    if kind is FileType.JPEG:
        return content.endswith(b"\xff\xd9")
    if kind is FileType.WEBP:
        return int.from_bytes(content[4:8], "little") + 8 == len(content)
    return _is_whole_png(content)


def _is_whole_png(content: bytes) -> bool:
    """Whether its chunks follow each other from IHDR to IEND at the end, each with its check."""
    names, place = [b""], 8
    while place < len(content):
        end = place + 12 + int.from_bytes(content[place : place + 4], "big")
        told = int.from_bytes(content[end - 4 : end], "big")
        if end > len(content) or zlib.crc32(content[place + 4 : end - 4]) != told:
            return False
        names.append(content[place + 4 : place + 8])
        place = end
    ordered = all(before != b"IEND" for before, _ in pairwise(names))
    return names[1:2] == [b"IHDR"] and names[-1] == b"IEND" and ordered
