"""What a page says of a form of which nothing was kept: where to look, and where to begin.

The tags of the fields tell it what is wrong as they are written, in the order of the page; the
first gets the focus, so that the browser scrolls there by itself.
"""

from dataclasses import dataclass, field

from django.utils.translation import gettext as said

# So many are named above the form; the others are marked where they stand.
MOST = 8


@dataclass(slots=True)
class Unkept:
    """The places of a page where something is wrong: the id of each, and its label if any."""

    places: list[tuple[str, str]] = field(default_factory=list)
    # Said where the page has no place for it: what the form was about may be over meanwhile.
    why: str = ""
    # Whether all it wants is an answer, which is no fault; and whether the form keeps anything.
    asks: bool = False
    keeps: bool = True

    @property
    def titled(self) -> str:
        """What the page's title begins with."""
        if self.asks:
            return said("One question:")
        return said("Not done:") if self.keeps else said("Look at what is marked:")

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
