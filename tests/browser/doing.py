"""What the tests of this directory did in a browser: which act, on which screen, with a script.

Every answer to a form is heard, and what came of it kept; `tests/browser/test_every_act.py` asks
at the end what was never done.
"""

import re
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from playwright.sync_api import Response

ID: Final = re.compile("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
DO: Final = re.compile(rb'(?:^|&)do=(\w+)|name="do"\r\n\r\n(\w+)')


@dataclass(frozen=True, slots=True)
class Deed:
    """An act with a result: the page's address without its ids, and what its button says to do."""

    route: str
    do: str
    size: str
    javascript: bool


DONE: Final[set[Deed]] = set()


def heard(answer: Response, size: str, javascript: bool) -> None:
    """Keep what was done, where something was."""
    asked = answer.request
    route = ID.sub("<uuid:id>", urlsplit(asked.url).path)
    if asked.method != "POST" or answer.status >= 400:
        return
    found = DO.search(asked.post_data_buffer or b"")
    do = next(filter(None, found.groups()), b"").decode() if found else ""
    DONE.add(Deed(route, do, size, javascript))
