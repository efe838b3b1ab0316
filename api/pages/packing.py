"""What a page gives to its own form to send back, as a hidden field carries it."""

import base64
import json
import zlib
from typing import Any, Final

from api import errors

# What a hidden field may carry, and what it may become.
MOST_PACKED: Final = 24_000
MOST_UNPACKED: Final = 400_000


def packed(told: Any) -> str | None:
    """Lists, texts and numbers as one text; None where there is too much of them for a page."""
    whole = json.dumps(told).encode()
    text = base64.b64encode(zlib.compress(whole, 9)).decode()
    return None if len(text) > MOST_PACKED or len(whole) > MOST_UNPACKED else text


def unpacked(text: str) -> Any:
    """What `packed` made a text of, to be judged like anything else that is sent.

    Raises BadRequest for any other text.
    """
    try:
        whole = zlib.decompressobj().decompress(
            base64.b64decode(text, validate=True), MOST_UNPACKED
        )
        return json.loads(whole)
    except (ValueError, zlib.error, RecursionError) as error:
        raise errors.BadRequest from error
