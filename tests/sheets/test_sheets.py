"""Sheets shown as HTML and as PDF from one description."""

from datetime import UTC, date, datetime
from decimal import Decimal as D
from html.parser import HTMLParser

import pytest

from api.sheets import html, pdf
from api.sheets.batch import limits
from api.sheets.blocks import Card, Cards, Code, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import PLAIN, grams, quantity
from api.sheets.lots import carrier
from tests.sheets.reading import Pages

AT = datetime(2025, 5, 6, 8, 30, tzinfo=UTC)
EVIL = '<script>alert("1")</script> & <b>bold</b>'
FOREIGN = "Crème à l'ü, ½ cup, Ромашка, Ελιά, 5 µm, €"


def sheet(*blocks: object, paper: str = "a4", about: str = "about") -> Sheet:
    return Sheet("Sheet", about, "sheet", AT, blocks, paper)  # type: ignore[arg-type]


EVERYTHING = sheet(
    Heading("Part"),
    Text(f"Text {FOREIGN}"),
    Text("Lye: goggles", strong=True),
    Fields([("Name", EVIL), ("Empty", "")]),
    Table(("Lot", "g"), (3, 1), [("NB1", "12.50"), ("", "")], frozenset({1})),
    Cards([Card("Oil", "NB1", [("Use until", "2026-12-31")], Code("10NB1", "(10)NB1"))] * 3),
)


class Seen(HTMLParser):
    """The tags and the text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.words: list[str] = []
        self.addresses: list[str] = []
        self.feed(page)
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        named = dict(attrs)
        assert "style" not in named, "the policy would refuse it"
        assert not [name for name in named if name.startswith("on")]
        self.addresses += [named[name] or "" for name in ("src", "href") if name in named]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_both_say_the_same() -> None:
    page, printed = Seen(html.render(EVERYTHING)), Pages(pdf.render(EVERYTHING))
    for said in ("Part", FOREIGN, "Lye: goggles", EVIL, "12.50", "Use until", "(10)NB1"):
        assert said in page.text, said
        assert said in printed.text, said
    assert printed.ink() > 5000, "the page is not blank"
    assert sorted(printed.codes()) == ["10NB1"] * 3


def test_stored_text_is_never_markup() -> None:
    page = Seen(html.render(EVERYTHING))
    assert "script" not in page.tags
    assert "b" not in page.tags
    assert page.addresses
    assert all(one.startswith("data:image/png;base64,") for one in page.addresses)


def test_the_policy_allows_the_page_and_nothing_else() -> None:
    page = html.render(EVERYTHING)
    assert f"<style>{html.style()}</style>" in page, "the digest is of these very characters"
    assert "default-src 'none'" in html.policy()
    assert "'unsafe" not in html.policy()
    assert "url(" not in html.style()
    assert "@import" not in html.style()


def test_what_the_font_lacks_is_replaced_and_said() -> None:
    text = Pages(pdf.render(sheet(Text("Rose 薔薇"), Text("two\nlines")))).text
    assert "Rose \ufffd\ufffd" in text
    assert "the font lacks" in text
    assert "two lines" in text
    assert "the font lacks" not in Pages(pdf.render(EVERYTHING)).text
    assert "薔薇" in html.render(sheet(Text("Rose 薔薇")))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_long_sheets_go_on(paper: str) -> None:
    """A heading row on every page, a word of any length, and the pages numbered."""
    rows = [("NB1", "W" * 200), *[(f"NB{n}", "Wax") for n in range(2, 150)]]
    long = sheet(Table(("Lot", "What"), (1, 3), rows), paper=paper, about="é" * 300)
    pages = Pages(pdf.render(long))
    assert len(pages) >= 4
    assert pages.text.count("Lot What") == len(pages)
    assert f"Page {len(pages)} of {len(pages)}" in pages.text
    assert all(pages.ink(number) > 1000 for number in range(len(pages)))
    assert "NB149" in pages.text


def test_what_is_short_is_not_parted_by_the_end_of_a_page() -> None:
    """Wherever its title comes to stand, all of it is on one page with it."""
    signed = Table(("Signed", "Name"), (1, 1), [("Made", ""), ("Checked", ""), ("Released", "")])
    for above in range(20, 32):
        rows = [(f"NB{number}", "") for number in range(above)]
        pages = Pages(
            pdf.render(sheet(Table(("Lot", "g"), (1, 1), rows), Heading("Names"), signed))
        )
        last = pages.of(len(pages) - 1)
        assert all(said in last for said in ("Names", "Made", "Released")), above


def test_a_label_has_room_for_all_that_it_may_say() -> None:
    """The last line is to be written on; before it a long one has to end in dots."""
    rows = [("INCI", "i" * 200), *[(name, "v" * 60) for name in "abcdef"], ("Opened on", "____")]
    text = Pages(pdf.render(sheet(Cards([Card("T" * 200, "NB1", rows, Code("x", "x"))])))).text
    assert "INCI: iii" in text
    assert "Opened on: ____" in text


def test_labels_keep_within_their_lines() -> None:
    card = Card("T" * 200, "M" * 16, [("Name", "v" * 300)] * 8, Code("10" + "M" * 16, "x" * 90))
    pages = Pages(pdf.render(sheet(Cards([card] * 11))))
    assert len(pages) == 2
    assert [len(pages.codes(number)) for number in (0, 1)] == [8, 3]


TODAY = date(2025, 5, 6)


@pytest.mark.parametrize(
    ("code", "expires", "gtin", "content", "below"),
    [
        ("NB8", date(2026, 12, 31), "", "1726123110NB8", "(17)261231(10)NB8"),
        ("NB8", None, "", "10NB8", "(10)NB8"),
        ("NB8", date(2090, 1, 1), "", "10NB8", "(10)NB8"),
        ("NÜ8", date(2026, 12, 31), "", "NÜ8", "NÜ8"),
        (
            "NB8",
            date(2026, 12, 31),
            "09521234543213",
            "https://id.gs1.org/01/09521234543213/10/NB8?17=261231",
            "(01)09521234543213(17)261231(10)NB8",
        ),
    ],
)
def test_what_a_lots_code_holds(
    code: str, expires: date | None, gtin: str, content: str, below: str
) -> None:
    found = carrier(code, expires, TODAY, gtin)
    assert (found.content, found.below) == (content, below)
    printed = Pages(pdf.render(sheet(Cards([Card("Oil", code, [], found)]))))
    assert printed.codes() == [content]


def test_quantities_and_days_as_people_read_them() -> None:
    kept = [("11339.80925", False), ("999.9", False), ("1200", True), ("1", True), ("0", True)]
    assert [quantity(D(amount), counted, PLAIN) for amount, counted in kept] == [
        *("11.34 kg", "999.9 g", "1,200 pieces", "1 piece", "0 pieces"),
    ]
    assert PLAIN.day(date(2026, 12, 4)) == "4 Dec 2026"


def test_masses_and_their_limits() -> None:
    typed = ("12.5", "0.12345", "100", "3E+2", "15930.93", "0.000031", "0", "2.0004")
    assert [grams(D(one), PLAIN) for one in typed] == [
        *("12.50", "0.123", "100.00", "300.00", "15,930.93", "0.000031", "0.00", "2.00"),
    ]
    assert limits(D("804.43"), D(1)) == (D("796.39"), D("812.47"))
