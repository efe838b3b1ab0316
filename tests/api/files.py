"""Small whole files of every type that is kept."""

import zlib


def pdf(words: str = "certificate") -> bytes:
    """The least that is a PDF, with a comment that tells it from others."""
    return f"%PDF-1.4\n% {words}\n1 0 obj\n<< >>\nendobj\n%%EOF\n".encode()


def _chunk(name: bytes, content: bytes) -> bytes:
    check = zlib.crc32(name + content).to_bytes(4, "big")
    return len(content).to_bytes(4, "big") + name + content + check


def png(words: str = "picture") -> bytes:
    """One white pixel."""
    return b"".join(
        [
            b"\x89PNG\r\n\x1a\n",
            _chunk(b"IHDR", bytes([0, 0, 0, 1, 0, 0, 0, 1, 8, 0, 0, 0, 0])),
            _chunk(b"tEXt", b"Comment\0" + words.encode("latin-1")),
            _chunk(b"IDAT", zlib.compress(b"\0\xff")),
            _chunk(b"IEND", b""),
        ]
    )


def jpeg(words: str = "picture") -> bytes:
    """The frame of a JPEG around a comment."""
    told = words.encode()
    return b"\xff\xd8\xff\xfe" + (len(told) + 2).to_bytes(2, "big") + told + b"\xff\xd9"


def webp(words: str = "picture") -> bytes:
    """The frame of a WebP around one chunk."""
    told = words.encode() + b"\0" * (len(words.encode()) % 2)
    inner = b"WEBPEXIF" + len(told).to_bytes(4, "little") + told
    return b"RIFF" + len(inner).to_bytes(4, "little") + inner
