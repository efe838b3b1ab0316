"""The folds of a page that was refused: none hides what is wrong, nor what was typed beside it."""

import re
from typing import Final

WRONG: Final = 'class="errorlist'
# What opens and closes a fold or a form, what says that something is wrong, and what somebody has
# filled in.
TOKEN: Final = re.compile(
    rf"""(?P<fold><details\b[^>]*>) | (?P<end></details>) | (?P<form><form\b) | (?P<sent></form>)
       | (?P<wrong>{WRONG}|class="refusal")
       | (?P<filled><input\b(?![^>]*\btype="(?:hidden|checkbox|radio)")[^>]*\bvalue="[^"]
                   |<textarea\b[^>]*>\s*[^<\s])""",
    re.VERBOSE,
)


def unfolded(page: str) -> str:
    """The page with every fold open that holds something wrong, or that was filled in within a
    form that has something wrong."""
    if WRONG not in page:
        return page
    inside: list[re.Match[str]] = []
    opened: set[re.Match[str]] = set()
    filled: set[re.Match[str]] = set()
    is_wrong = False
    for token in TOKEN.finditer(page):
        match token.lastgroup:
            case "fold":
                inside.append(token)
            case "end" if inside:
                inside.pop()
            case "form":
                filled, is_wrong = set(), False
            case "wrong":
                opened.update(inside)
                is_wrong = True
            case "filled":
                filled.update(inside)
            case "sent" if is_wrong:
                opened |= filled
    closed = [fold for fold in opened if not re.search(r"\sopen\b", fold[0])]
    for fold in sorted(closed, key=re.Match.start, reverse=True):
        page = f"{page[: fold.end() - 1]} open{page[fold.end() - 1 :]}"
    return page
