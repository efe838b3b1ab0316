"""Codes of the domain in what a page says: "use_up" is a name for programs and no word."""

import re
from collections.abc import Sequence
from html.parser import HTMLParser
from typing import Final

# What a reader sees or hears of an element beside its text.
HEARD: Final = {"aria-label", "aria-description", "title", "placeholder", "alt"}
# What a page tells as it is to be written: the columns of a list.
AS_WRITTEN: Final = {"code", "pre"}
SILENT: Final = {"style", "script"}
# Neither a part of an address nor of a file's name.
CODE: Final = re.compile(r"(?<![\w./@:-])[a-z][a-z0-9]*(?:_[a-z0-9]+)+(?![\w/@-]|\.\w)")


class Said(HTMLParser):
    """The texts of a page that people read or hear, each with the element that it is of."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.said: list[tuple[str, str]] = []
        self.inside: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        self.said += [(tag, value) for name, value in attrs if value and _heard(name, value)]
        self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        # What is never closed is left with what it stands in.
        while self.inside and self.inside.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        silent = self.inside and self.inside[-1] in SILENT
        if not silent and (text := " ".join(data.split())):
            self.said.append((self.inside[-1] if self.inside else "", text))


def _heard(name: str, value: str) -> bool:
    """Of what a script reads, that has words in which it says something."""
    return name in HEARD or (name.startswith("data-") and " " in value)


def bare_codes(page: str) -> list[str]:
    """Codes that stand in the texts of a page."""
    said = [text for tag, text in Said(page).said if tag not in AS_WRITTEN]
    return sorted({code for text in said for code in CODE.findall(text)})
