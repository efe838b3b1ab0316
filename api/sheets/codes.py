"""QR codes (ISO/IEC 18004) as pictures."""

import io

import segno

from api.sheets.blocks import Code


def png(code: Code, scale: int = 6) -> bytes:
    """The code in black on white with its quiet zone, as PNG."""
    out = io.BytesIO()
    segno.make(code.content, error="m", micro=False).save(out, kind="png", scale=scale, border=4)
    return out.getvalue()
