"""The figures of a page as they are read, and the working that each opens to."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from html.parser import HTMLParser

from django.test import Client

# A figure with its unit: money, mass, volume, percent.
MINUS = "\N{MINUS SIGN}"
FIGURE = re.compile(rf"^[{MINUS}-]?[0-9][0-9,]*(?:\.[0-9]+)? ?(USD|kg|g|mL|%|pieces?)$")
AMOUNT = re.compile(rf"^([{MINUS}-]?[0-9][0-9,.]*) ?(\S*)$")
# So far a figure may lie from the exact one: it is rounded so that a column adds up.
COIN = Decimal("0.01")
# A kilogram is told to a gram, a gram to a hundredth, and a margin to a tenth of a percent.
LEAST = Decimal("0.5")
PERCENT = Decimal("0.06")
ROUGHLY = {"kg": LEAST, "mL": COIN, "USD": COIN, "%": PERCENT, "piece": COIN, "pieces": COIN}
# Last, since other units end with it.
ROUGHLY |= {"g": COIN}


@dataclass(slots=True)
class Shown:
    """A figure of a page, where it stands, and the address that it opens to."""

    label: str
    text: str
    to: str


@dataclass(slots=True)
class Told:
    """A figure of a working, and its parts."""

    name: str = ""
    amount: Decimal | None = None
    parts: list["Told"] = field(default_factory=list)

    @property
    def exact(self) -> Decimal:
        assert self.amount is not None, self.name
        return self.amount

    @property
    def adds_up(self) -> bool:
        """Whether its parts come to it, to the last digit."""
        return sum((one.exact for one in self.parts), Decimal(0)) == self.exact


def amount_in(text: str) -> Decimal:
    """The bare number of a figure, in grams where it is a mass."""
    found = AMOUNT.match(text)
    assert found, text
    number = Decimal(found[1].replace(",", "").replace(MINUS, "-"))
    return number * 1000 if found[2] == "kg" else number


class _Cells(HTMLParser):
    """The cells that hold a figure: of lists of figures, and of tables in columns of numbers."""

    def __init__(self) -> None:
        super().__init__()
        self.cells: list[Shown] = []
        self.label, self.text, self.to = "", "", ""
        self.where, self.inside = "", 0

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        has = dict(attrs)
        # What stands in there is a working itself.
        self.inside += tag == "details"
        if self.inside:
            return
        if tag in {"dt", "th"}:
            self.where, self.label = "label", ""
        elif tag == "dd" or (tag == "td" and "n" in str(has.get("class")).split()):
            self.where, self.text, self.to = "figure", "", ""
        elif tag == "td":
            self.where = ""
        elif tag == "a" and self.where == "figure":
            self.to = str(has.get("href"))

    def handle_data(self, data: str) -> None:
        if self.where == "label":
            self.label += data
        elif self.where == "figure":
            self.text += data

    def handle_endtag(self, tag: str) -> None:
        self.inside -= tag == "details"
        if tag in {"dd", "td"} and self.where == "figure":
            text = " ".join(self.text.split())
            self.cells.append(Shown(" ".join(self.label.split()), text, self.to))
        if tag in {"dd", "td", "dt", "th"}:
            self.where = ""


class _Trees(HTMLParser):
    """The workings of a page, as trees: all of them, or those that figures of the page lead to."""

    def __init__(self, *, led_to: bool) -> None:
        super().__init__()
        self.led_to = led_to
        self.roots: list[Told] = []
        self.open: list[Told] = []
        self.where, self.depth = "", 0

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        has = dict(attrs)
        kind = str(has.get("class"))
        begins = kind == "tree" and ("id" in has or not self.led_to)
        if tag == "ul" and (self.depth or begins):
            self.depth += 1
        elif not self.depth:
            return
        elif tag == "li":
            one = Told()
            (self.open[-1].parts if self.open else self.roots).append(one)
            self.open.append(one)
        elif tag == "strong":
            self.where = "name"
        elif tag == "span" and kind == "amount":
            self.where = "amount"

    def handle_data(self, data: str) -> None:
        if self.where == "name":
            self.open[-1].name += data
        elif self.where == "amount":
            self.open[-1].amount = amount_in(" ".join(data.split()))

    def handle_endtag(self, tag: str) -> None:
        if self.depth and tag == "ul":
            self.depth -= 1
        elif self.depth and tag == "li":
            self.open.pop()
        elif tag in {"strong", "span"}:
            self.where = ""


def figures_of(page: str) -> Iterator[Shown]:
    """What a page shows as a figure with its unit."""
    reader = _Cells()
    reader.feed(page)
    yield from (one for one in reader.cells if FIGURE.match(one.text))


def workings_of(page: str, *, led_to: bool = False) -> list[Told]:
    """The workings that stand on a page; or those alone to which its figures are links."""
    reader = _Trees(led_to=led_to)
    reader.feed(page)
    return reader.roots


def all_of(told: Sequence[Told]) -> Iterator[Told]:
    """Every figure of these workings."""
    for one in told:
        yield one
        yield from all_of(one.parts)


def fragment(client: Client, to: str) -> str:
    """The text of the working at an address, as it comes into the page."""
    answer = client.get(to, headers={"HX-Request": "true"})
    assert answer.status_code == 200, to
    text = answer.content.decode()
    assert "<html" not in text, to
    return text


def opened(client: Client, to: str) -> Told:
    """The working at an address."""
    (told,) = workings_of(fragment(client, to))
    return told
