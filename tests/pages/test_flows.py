"""The picture of a trace: bands that pass no box but their own, and figures that can be read."""

import re
import uuid
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import product

import pytest
from django.template.loader import render_to_string
from hypothesis import given
from hypothesis import strategies as st

from api.pages.flows import LETTERS, MOST_BANDS, MOST_BOXES, NARROWEST, Picture
from api.pages.layers import layered
from api.pages.reader import Reader
from api.pages.short_names import in_two_lines
from api.pages.traced_nodes import picture_of
from ledger.trace_ends import End
from ledger.tracing import TracedLot
from tests.pages.drawn import crossings, faults_of

TEN = "10\N{NO-BREAK SPACE}g"


def lot(name: str, *inputs: TracedLot, much: int = 10, counted: bool = False) -> TracedLot:
    return TracedLot(
        id=uuid.uuid4(),
        code="NB1",
        material_id=uuid.uuid4(),
        material_name=name,
        counted=counted,
        status="released",
        supplier_lot="",
        supplier_id=None,
        expires_on=None,
        on_hand=Decimal(0),
        inputs=tuple((one.id, Decimal(much)) for one in inputs),
    )


def picture(lots: Sequence[TracedLot], ends: Sequence[End] = ()) -> Picture:
    drawn = picture_of(lots, ends, lots[0].id, Reader().quantity)
    assert drawn is not None
    return drawn


def drawn_names(shown: Picture) -> dict[str, int]:
    return {box.node.full.removeprefix("NB1 "): box.x for box in shown.boxes}


@st.composite
def genealogies(draw: st.DrawFn) -> tuple[list[TracedLot], list[End]]:
    """Lots made of earlier ones, in grams and pieces, and where some of each ended."""
    lots: list[TracedLot] = []
    ends: list[End] = []
    amounts = st.integers(1, 50_000)
    for number in range(draw(st.integers(2, 14))):
        some = draw(st.sets(st.integers(0, number - 1), max_size=5)) if number else set()
        made = lot(f"Lot {number}", counted=draw(st.booleans()))
        inputs = tuple((lots[one].id, Decimal(draw(amounts))) for one in sorted(some))
        lots.append(replace(made, inputs=inputs, on_hand=Decimal(draw(st.integers(0, 1)))))
        for place in draw(st.sets(st.sampled_from(["sold", "spilt", "a long name of a shop"]))):
            ends.append(End(made.id, place, Decimal(draw(amounts)), place != "spilt"))
    return lots, ends


@given(genealogies())
def test_no_band_passes_a_box_of_others(drawn: tuple[list[TracedLot], list[End]]) -> None:
    """Nor does a quantity stand on a box or on another quantity, whatever was made of what."""
    lots, ends = drawn
    shown = picture_of(lots, ends, lots[0].id, Reader().quantity)
    assert shown is None or faults_of(shown) == []
    again = picture_of(lots, ends, lots[0].id, Reader().quantity)
    assert again == shown, "the same is drawn alike"


def test_a_band_that_passes_a_column_has_a_slot_of_its_own_there() -> None:
    oil = lot("Oil")
    base = lot("Base", oil)
    jars = lot("Jars", base, oil)
    shown = picture([oil, base, jars])
    (long,) = [one for one in shown.bands if len(one.places) == 4]
    (_, beside, _) = sorted(shown.boxes, key=lambda one: one.x)
    (_, slot, behind, _) = long.places
    assert (slot[0], behind[0]) == (beside.x, beside.right)
    assert slot[1] == behind[1]
    assert not beside.y <= slot[1] <= beside.y + beside.height
    assert long.path.count("C") == 2
    assert faults_of(shown) == []


def test_a_lid_stands_beside_its_jars_and_not_at_the_far_end() -> None:
    oil, lid = lot("Oil"), lot("Lid")
    base = lot("Base", oil)
    across = drawn_names(picture([oil, lid, base, lot("Jars", base, lid)]))
    assert across["Oil"] < across["Base"] == across["Lid"] < across["Jars"]


def test_few_bands_cross() -> None:
    """None where none needs to; of four that all go into two, six do in any order."""
    apart = [(number, 7 - number) for number in range(4)]
    assert crossings(layered(8, apart)) == 0
    # Two that go past a column, one on each side of what stands there.
    past = [(0, 3), (1, 3), (2, 3), (3, 6), (0, 4), (2, 5), (4, 6), (5, 6), (1, 6)]
    assert crossings(layered(7, past)) <= 1
    assert crossings(layered(6, [(one, two) for one in range(4) for two in (4, 5)])) == 6


def test_every_quantity_stands_in_the_picture() -> None:
    """Nobody needs to point at a band: not on a phone, and not on paper."""
    oils = [lot(f"Oil {number}") for number in range(6)]
    shown = picture([*oils, *(lot(f"Balm {number}", *oils) for number in range(6))])
    assert faults_of(shown) == []
    page = re.sub(
        r"<title>.*?</title>", "", render_to_string("pages/flow.html", {"picture": shown})
    )
    assert re.findall(r">([^<>]+)</text>", page).count(TEN) == len(shown.bands) == 36


def test_bands_are_as_wide_as_quantities_are_large() -> None:
    """Of grams and of pieces by a scale of their own each; what is too thin to see is dashed."""
    amounts = [Decimal(400), Decimal(200), Decimal(100), Decimal(1)]
    oils = [lot(f"Oil {number}") for number, _ in enumerate(amounts)]
    lids = lot("Lids", counted=True)
    inputs = [(one.id, much) for one, much in zip(oils, amounts, strict=True)]
    balm = replace(lot("Balm"), inputs=(*inputs, (lids.id, Decimal(30))))
    shown = picture([*oils, lids, balm])
    widths = {one.plate.text.replace("\xa0", " "): (one.width, one.thin) for one in shown.bands}
    assert widths == {
        "400 g": (Decimal(30), False),
        "200 g": (Decimal(15), False),
        "100 g": (Decimal("7.5"), False),
        "1 g": (NARROWEST, True),
        "30 pieces": (Decimal(30), False),
    }
    assert [one.replace("\xa0", " ") for one in shown.widest] == ["400 g", "30 pieces"]
    assert shown.thin
    # Many that meet at one box are all narrower, and still true to each other.
    many = [lot(f"Oil {number}") for number in range(20)]
    crowded = picture([*many, lot("Balm", *many)])
    assert {one.width for one in crowded.bands} == {Decimal(8)}
    assert not crowded.thin


def test_where_all_of_it_went_is_drawn() -> None:
    """What was sold, at shops or lost has a box of its own shape, and its sum for each column."""
    base = lot("Base")
    jars = replace(lot("Jars", base, counted=True), on_hand=Decimal(3))
    ends = [
        End(base.id, "spilt", Decimal(5), known=True),
        End(base.id, "shrink", Decimal(2), known=False),
        End(jars.id, "sold", Decimal(9), known=True),
    ]
    shown = picture([base, jars], ends)
    page = render_to_string("pages/flow.html", {"picture": shown})
    assert len(re.findall(r'class="box end(?: lost)?"', page)) == 3
    assert len(re.findall(r'class="box end lost"', page)) == 1
    lines = {box.node.title: [line for line, _ in box.lines] for box in shown.boxes[2:]}
    assert {title: [one.replace("\xa0", " ") for one in told] for title, told in lines.items()} == {
        "Spilt": ["5 g"],
        "Shrinkage": ["nobody knows where", "2 g"],
        "Sold": ["9 pieces"],
    }
    assert [line.replace("\xa0", " ") for line, _ in shown.boxes[1].lines] == [
        "Jars",
        "3 pieces left",
    ]
    assert len(shown.bands) == 1 + len(ends)
    # A name of two lines is a title in both of them.
    kept = picture([jars], [End(jars.id, "retained", Decimal(1), known=True)])
    page = render_to_string("pages/flow.html", {"picture": kept})
    assert re.findall(r'class="code"[^>]*>([^<]*)', page)[1:] == ["Samples that were", "kept"]
    # A lot that was only sold has a picture, and one of which nothing became has none.
    assert len(picture([jars], ends[2:]).boxes) == 2
    assert picture_of([base], [], base.id, Reader().quantity) is None


def test_names_keep_what_tells_them_apart() -> None:
    long = "Rosemary hand wash for dry hands, {}, in a bottle of 250 mL"
    names = ["Glycerin", *(long.format(kind) for kind in ("unscented", "with lavender oil"))]
    cut = in_two_lines(names, LETTERS)
    assert cut["Glycerin"] == ("Glycerin",)
    assert cut[names[1]] == ("Rosemary hand wash", "…unscented, in a…")
    assert cut[names[2]] == ("Rosemary hand wash", "…with lavender oi…")
    alone = in_two_lines(names[:2], LETTERS)
    assert alone[names[1]] == ("Rosemary hand wash", "…bottle of 250 mL")


@given(st.lists(st.text(st.sampled_from("ab ,W"), min_size=1, max_size=70), min_size=1, max_size=8))
def test_names_have_room(names: list[str]) -> None:
    for lines in in_two_lines([" ".join(one.split()) or "a" for one in names], LETTERS).values():
        assert 1 <= len(lines) <= 2
        assert all(len(line) <= LETTERS for line in lines)


@pytest.mark.parametrize("more", [0, 1])
def test_what_nobody_could_read_is_not_drawn(more: int) -> None:
    """Of the most that is drawn the page is small enough; of more the list and the file tell."""
    wide = MOST_BANDS // 10
    oils = [lot(f"Oil {number}") for number in range(wide + more)]
    lots = [*oils, *(lot(f"Balm {number}", *oils) for number in range(10))]
    shown = picture_of(lots, [], lots[0].id, Reader().quantity)
    assert (shown is None) == bool(more)
    many = [lots[0], *(lot(f"Soap {number}", lots[0]) for number in range(MOST_BOXES - 1 + more))]
    assert (picture_of(many, [], many[0].id, Reader().quantity) is None) == bool(more)


def test_the_heaviest_picture_is_light_enough() -> None:
    names = [f"Rosemary hand wash, unscented, {number} mL" for number in range(MOST_BOXES)]
    half = MOST_BOXES // 2
    oils = [lot(name) for name in names[:half]]
    made = [lot(name) for name in names[half:]]
    pairs = list(product(range(half), range(half)))[:MOST_BANDS]
    made = [
        replace(one, inputs=tuple((oils[a].id, Decimal(12345)) for a, b in pairs if b == number))
        for number, one in enumerate(made)
    ]
    page = render_to_string("pages/flow.html", {"picture": picture([*oils, *made])})
    assert len(page.encode()) < 36_000
