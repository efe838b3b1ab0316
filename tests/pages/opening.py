"""Which figures of a page open to their working, found wherever a figure stands by itself."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Final

from django.test import Client

from tests.pages.figures import FIGURE, MINUS, ROUGHLY, Shown, amount_in, fragment
from tests.pages.looking import Seen

# They have no end.
EMPTY: Final = frozenset({"area", "br", "col", "hr", "img", "input", "link", "meta", "wbr"})
# What stands in these is a working itself, a picture, or what somebody may choose.
NO_FIGURES: Final = frozenset({"details", "svg", "option", "datalist", "button", "header"})
HEADINGS: Final = frozenset({"h2", "h3"})
CELLS: Final = frozenset({"dd", "td"})
# What is printed does not open.
PRINTED: Final = re.compile("/(sheet|label)$")


@dataclass(slots=True, eq=False)
class Element:
    tag: str
    has: dict[str, str | None]
    above: "Element | None"
    inside: "list[Element | str]" = field(default_factory=list)

    @property
    def classes(self) -> list[str]:
        return (self.has.get("class") or "").split()

    @property
    def own(self) -> str:
        """What it says itself, without what stands in elements inside it."""
        return " ".join("".join(one for one in self.inside if isinstance(one, str)).split())

    @property
    def text(self) -> str:
        said = (one if isinstance(one, str) else one.text for one in self.inside)
        return " ".join(" ".join(said).split())

    def text_but(self, to: str) -> str:
        """What it says, without links to that address."""
        said = (one if isinstance(one, str) else one.text_but(to) for one in self.inside)
        return "" if self.has.get("href") == to else " ".join(" ".join(said).split())

    def all(self) -> "Iterator[Element]":
        """It, and all elements inside it, as they stand in the page."""
        yield self
        for one in self.inside:
            if isinstance(one, Element):
                yield from one.all()

    def up(self) -> "Iterator[Element]":
        one: Element | None = self
        while one is not None:
            yield one
            one = one.above

    def within(self, *tags: str) -> "Element | None":
        return next((one for one in self.up() if one.tag in tags), None)


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a page: what it is called there, and the address that it opens to, if it does."""

    route: str
    label: str
    text: str
    to: str
    path: str
    in_place: bool


class _Tree(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.here = self.root = Element("", {}, None)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        one = Element(tag, dict(attrs), self.here)
        self.here.inside.append(one)
        if tag not in EMPTY:
            self.here = one

    def handle_endtag(self, tag: str) -> None:
        closed = self.here.within(tag)
        if closed is not None and closed.above is not None:
            self.here = closed.above

    def handle_data(self, data: str) -> None:
        self.here.inside.append(data)


def _read(text: str) -> Element:
    reader = _Tree()
    reader.feed(text)
    return reader.root


def figures_in(seen: Seen) -> Iterator[Figure]:
    """Every figure with its unit that stands by itself on a page, outside its workings."""
    every = list(_read(seen.text).all())
    ids = {one.has["id"] for one in every if "id" in one.has}
    heading = ""
    for one in every:
        if one.tag in HEADINGS:
            heading = one.text
        if not FIGURE.match(one.own) or not _is_shown(one):
            continue
        to, in_place = _opened(one, ids)
        yield Figure(seen.route, _label(one, heading), one.own, to, seen.path, in_place)


def _is_shown(one: Element) -> bool:
    above = list(one.up())
    return any(it.tag == "main" for it in above) and not any(
        it.tag in NO_FIGURES or {"tree", "help"} & set(it.classes) for it in above
    )


def _opened(one: Element, ids: set[str | None]) -> tuple[str, bool]:
    """Where it opens, and whether on its page: it is a link to its working, or something in its
    cell is; else a row of a list leads to it."""
    cell = one.within(*CELLS, "li") or one
    links = [it for it in (*one.up(), *cell.all()) if it.tag == "a"]
    for link in links:
        to = link.has.get("href") or ""
        if to.startswith("#") and to[1:] in ids:
            return to, True
        if "hx-get" in link.has:
            return to, True
        if cell.tag == "li" and to.startswith(("/", "?")):
            return to, False
    return "", False


def _label(one: Element, heading: str) -> str:
    """What a figure is called: a cell by its term, or by the head of its column, or else of its
    row; what stands in no cell by the heading above it."""
    cell = one.within(*CELLS)
    if cell is None or cell.above is None:
        return f"{'a row of' if one.within('li') else 'under'} {heading}".strip()
    before = [it for it in cell.above.inside if isinstance(it, Element)]
    before = before[: before.index(cell)]
    if cell.tag == "dd":
        return next((it.text for it in reversed(before) if it.tag == "dt"), "")
    table = cell.within("table")
    heads = [it for it in table.all() if it.within("thead") and it.tag == "th"] if table else []
    if len(heads) > len(before):
        return heads[len(before)].text
    return next((it.own or it.text for it in before if it.tag == "th"), "")


def figures_of_all(seen: Iterable[Seen]) -> list[Figure]:
    """The figures of pages that are no paper."""
    return [one for page in seen if not PRINTED.search(page.route) for one in figures_in(page)]


def tells(client: Client, one: Figure | Shown, page: str) -> bool:
    """Whether what a figure opens to has that figure, with its sign and unit: in its working, or
    where no working is linked but a table or a form of the page, as it is written there."""
    if not one.to.startswith("#"):
        return _works_out(_read(fragment(client, one.to)), one.text)
    (there,) = (it for it in _read(page).all() if it.has.get("id") == one.to[1:])
    if "tree" in there.classes:
        return _works_out(there, one.text)
    written = re.compile(rf"(?<![0-9.,{MINUS}-]){re.escape(one.text)}(?![0-9.,\w])")
    return _works_out(there, one.text) or bool(written.search(there.text_but(one.to)))


def _works_out(there: Element, text: str) -> bool:
    """Whether any amount of the workings there is this figure, as near as that is rounded."""
    near = next(rough for unit, rough in ROUGHLY.items() if text.endswith(unit))
    spans = (it.text for it in there.all() if it.tag == "span" and "amount" in it.classes)
    return any(
        abs(amount_in(one) - amount_in(text)) <= near for one in spans if _kind(one) == _kind(text)
    )


def _kind(text: str) -> str:
    """What a figure is counted in: kilograms and grams are one, and so are a piece and pieces."""
    unit = text.lstrip(f"{MINUS}-0123456789,. ")
    return {"kg": "g", "piece": "pieces"}.get(unit, unit)
