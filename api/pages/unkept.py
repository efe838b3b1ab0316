"""What a page says of a form of which nothing was kept: where to look, and where to begin.

The tags of the fields tell it what is wrong as they are written, in the order of the page; the
first gets the focus, so that the browser scrolls there by itself. Folds around any are open.
"""

import re
from dataclasses import dataclass, field

from django.utils.safestring import SafeString, mark_safe

# So many are named above the form; the others are marked where they stand.
MOST = 8
# What opens or closes a fold, and what is wrong in it.
PARTS = re.compile(r'<details\b[^>]*>|</details>|aria-invalid="true"|<div class="refusal"')


@dataclass(slots=True)
class Unkept:
    """The places of a page where something is wrong: the id of each, and its label if any."""

    places: list[tuple[str, str]] = field(default_factory=list)
    # Said where the page has no place for it: what the form was about may be over meanwhile.
    why: str = ""

    def mark(self, id: str, label: str = "") -> bool:
        """Take note of a place; True for the first, which gets the focus."""
        self.places.append((id, label))
        return len(self.places) == 1

    @property
    def first(self) -> list[tuple[str, str]]:
        """The places that are named above the form; what has no label is named once."""
        labels = [label for _id, label in self.places]
        return [one for at, one in enumerate(self.places) if one[1] or at == labels.index("")][
            :MOST
        ]


def unfolded(page: str) -> SafeString:
    """A page with every fold open in which something is wrong."""
    folds: list[re.Match[str]] = []
    wrong: set[int] = set()
    for part in PARTS.finditer(page):
        if part[0].startswith("<details"):
            folds.append(part)
        elif part[0] == "</details>":
            folds.pop()
        else:
            wrong |= {one.start() for one in folds if " open" not in one[0]}
    for start in sorted(wrong, reverse=True):
        after = start + len("<details")
        page = f"{page[:after]} open{page[after:]}"
    return mark_safe(page)  # noqa: S308 - it was rendered by a template
