"""A catalogue of a few texts in another language, as gettext reads it (its manual, 10.3)."""

import struct
from collections.abc import Mapping
from pathlib import Path

HEAD = "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=2; plural=(n != 1);\n"


def write_catalogue(folder: Path, language: str, texts: Mapping[str, str]) -> None:
    """Write the texts where Django looks for them, under a folder of LOCALE_PATHS."""
    pairs = [(key.encode(), text.encode()) for key, text in sorted({"": HEAD, **texts}.items())]
    count, at = len(pairs), 28 + 16 * len(pairs)
    tables, strings = b"", b""
    for column in (0, 1):
        for pair in pairs:
            tables += struct.pack("<II", len(pair[column]), at + len(strings))
            strings += pair[column] + b"\0"
    head = struct.pack("<IIIIIII", 0x950412DE, 0, count, 28, 28 + 8 * count, 0, 0)
    path = folder / language / "LC_MESSAGES" / "django.mo"
    path.parent.mkdir(parents=True)
    path.write_bytes(head + tables + strings)
