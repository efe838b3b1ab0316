"""The picture of a trace: names that fit their boxes, and boxes that stand clear of each other."""

import re
import uuid
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import pytest
from django.template.loader import render_to_string

from api.pages.band_marks import overlap
from api.pages.flows import BOX_HEIGHT, GAP, Picture, across, columns_of
from api.pages.reader import Reader
from api.pages.upright import DOWN, LEFT, WIDTH, upright
from ledger.tracing import TracedLot


def lot(name: str, *inputs: TracedLot) -> TracedLot:
    return TracedLot(
        id=uuid.uuid4(),
        code="NB1",
        material_id=uuid.uuid4(),
        material_name=name,
        counted=False,
        status="released",
        supplier_lot="",
        supplier_id=None,
        expires_on=None,
        on_hand=Decimal(0),
        inputs=tuple((one.id, Decimal(10)) for one in inputs),
    )


def picture(lots: list[TracedLot], root: uuid.UUID) -> Picture:
    return across(columns_of(lots), root, Reader().quantity)


def below(lots: list[TracedLot], root: uuid.UUID) -> Picture:
    return upright(columns_of(lots), root, Reader().quantity)


def test_a_long_name_keeps_its_beginning_and_its_end() -> None:
    """Where there are few columns, boxes are wider, and more of it has room."""
    short, long = lot("Glycerin"), lot("Rosemary hand wash, unscented, 250 mL")
    drawn = picture([short, long], short.id)
    assert [box.name for box in drawn.boxes] == ["Glycerin", "Rosemary hand was…250 mL"]
    washed = lot("Rosemary hand wash 250 mL", short)
    made = [short, washed, sold := lot("Set", washed), lot("Pallet", sold, long), long]
    four = picture(made, short.id)
    assert {box.lot.material_name: box.name for box in four.boxes} == {
        **{name: name for name in ("Glycerin", "Set", "Pallet")},
        washed.material_name: "Rosemary h…250 mL",
        long.material_name: "Rosemary h…250 mL",
    }
    assert picture(made[:3], short.id).boxes[1].name == washed.material_name
    for shown in (drawn, four):
        assert shown.fits
        assert all(len(box.name) <= box.letters for box in shown.boxes)


def test_boxes_stand_clear_of_each_other() -> None:
    oils = [lot(f"Oil {number}") for number in range(5)]
    base = lot("Base", *oils)
    balms = [lot(f"Balm {number}", base, oils[0]) for number in range(3)]
    drawn = picture([*oils, base, *balms], base.id)
    for one in drawn.boxes:
        for other in drawn.boxes:
            apart = abs(one.x - other.x) >= one.width + GAP or abs(one.y - other.y) >= BOX_HEIGHT
            assert one is other or apart
    assert len(drawn.bands) == 5 + 3 * 2


def test_a_lid_stands_beside_its_jars_and_not_at_the_far_end() -> None:
    oil, lid = lot("Oil"), lot("Lid")
    base = lot("Base", oil)
    jars = lot("Jars", base, lid)
    drawn = picture([oil, lid, base, jars], jars.id)
    across = {box.lot.id: box.x for box in drawn.boxes}
    assert across[oil.id] < across[base.id] == across[lid.id] < across[jars.id]


def test_boxes_lie_in_the_order_of_what_they_are_tied_to() -> None:
    oils = [lot(f"Oil {number}") for number in range(4)]
    balms = [lot(f"Balm {number}", one) for number, one in enumerate(oils)]
    drawn = picture([*oils, *reversed(balms)], oils[0].id)
    down = {box.lot.id: box.y for box in drawn.boxes}
    assert [down[one.id] for one in balms] == [down[one.id] for one in oils], "no band crosses"


def test_figures_of_a_picture_have_room() -> None:
    """Up to three stand one above the other; where there are more, they stand in the key."""
    oils = [lot(f"Oil {number}") for number in range(5)]
    batches = [lot(f"Batch {number}", *oils[:3]) for number in range(4)]
    drawn = picture([*oils, *batches], oils[0].id)
    plates = [band.plate for band in drawn.bands if band.plate]
    assert len(plates) == len(drawn.bands) == 12
    for one in plates:
        # Beside a box and not on it, whole between two columns, and clear of all others.
        assert all(one.x > box.right or one.x + one.width < box.x for box in drawn.boxes)
        near = [other for other in plates if abs(other.y - one.y) < 16]
        assert [other for other in near if abs(other.x - one.x) < one.width] == [one]
    crowded = picture([*oils, *(lot(f"All {number}", *oils) for number in range(5))], oils[0].id)
    assert not any(band.plate for band in crowded.bands)


def crowd() -> list[TracedLot]:
    """Six oils, each in each of six balms."""
    oils = [lot(f"Oil {number}") for number in range(6)]
    return [*oils, *(lot(f"Balm {number}", *oils) for number in range(6))]


@pytest.mark.parametrize("layout", [picture, below])
@pytest.mark.parametrize("most", [1, 2, 6])
def test_the_quantity_of_every_band_stands_in_the_picture_or_in_its_key(
    layout: Callable[..., Picture], most: int
) -> None:
    """Nobody needs to point at a band: not on a phone, and not on paper."""
    lots = [one for one in crowd() if int(one.material_name[-1]) < most]
    drawn = layout(lots, lots[0].id)
    page = render_to_string("pages/flow.html", {"picture": drawn})
    read = re.sub(r"<title>.*?</title>", "", page)
    written = re.findall(r">([^<>]+)</(?:text|li)>", read)
    assert len(drawn.bands) == most * most
    # A lot beyond those that are drawn has no band.
    assert sum("10\N{NO-BREAK SPACE}g" in one for one in written) == most * most
    assert [band.mark.number for band in drawn.key if band.mark] == [
        n for n, _ in enumerate(drawn.key, 1)
    ]
    assert [one for one in written if one.isdecimal()] == [
        str(n) for n, _ in enumerate(drawn.key, 1)
    ]


@pytest.mark.parametrize("layout", [picture, below])
def test_numbers_on_bands_stand_clear(layout: Callable[..., Picture]) -> None:
    lots = crowd()
    drawn = layout(lots, lots[0].id)
    places = [band.mark.place for band in drawn.key if band.mark]
    assert len(places) == 36
    boxes = [(box.x, box.y, box.right, box.y + box.height) for box in drawn.boxes]
    met = [
        (one, other)
        for place, one in enumerate(places)
        for other in [*places[:place], *boxes]
        if overlap(one, other)
    ]
    assert not met


@pytest.mark.parametrize(("layout", "widest"), [(picture, 20), (below, 14)])
def test_bands_are_as_wide_as_quantities_are_large(
    layout: Callable[..., Picture], widest: int
) -> None:
    amounts = [Decimal(400), Decimal(200), Decimal(100), Decimal(1)]
    oils = [lot(f"Oil {number}") for number, _ in enumerate(amounts)]
    inputs = tuple((one.id, much) for one, much in zip(oils, amounts, strict=True))
    balm = replace(lot("Balm"), inputs=inputs)
    drawn = layout([*oils, balm], balm.id)
    widths = {band.says.rpartition(": ")[2][:-2]: band.width for band in drawn.bands}
    whole = Decimal(widest)
    expected = {"400": whole, "200": whole / 2, "100": whole / 4, "1": Decimal("1.5")}
    assert widths == expected, "what would be too thin to see is drawn as thin as can be seen"


def test_a_long_way_is_too_wide_for_a_desk() -> None:
    chain = [lot("Oil")]
    for number in range(5):
        chain.append(lot(f"Balm {number}", chain[-1]))
    assert picture(chain[:5], chain[0].id).fits
    assert not picture(chain, chain[0].id).fits
    assert below(chain, chain[0].id).width == below(chain[:2], chain[0].id).width


def test_on_a_phone_one_stands_under_the_other() -> None:
    """What went in stands above what was made of it; bows begin and end apart, within the page."""
    oils = [lot(f"Oil {number}") for number in range(4)]
    base = lot("Base", *oils)
    balms = [lot(f"Balm {number}", base, oils[0]) for number in range(3)]
    drawn = below([*oils, base, *balms], base.id)
    down = {box.lot.id: box.y for box in drawn.boxes}
    assert sorted(down.values()) == [place * DOWN for place in range(8)]
    assert max(down[one.id] for one in oils) < down[base.id] < min(down[one.id] for one in balms)
    assert {(box.x, box.right) for box in drawn.boxes} == {(LEFT, WIDTH)}
    assert len(drawn.bands) == 4 + 3 * 2
    figures = [list(map(int, re.findall(r"-?[0-9]+", band.path))) for band in drawn.bands]
    ends = [end for one in figures for end in (one[1], one[-1])]
    assert len(set(ends)) == len(ends)
    # A bow comes three quarters as far out as its curve is bent.
    assert all(LEFT - 3 * (LEFT - one[2]) // 4 > 0 for one in figures)


def test_a_single_bow_is_told_in_its_box() -> None:
    oil, wax = lot("Oil"), lot("Wax")
    balm, soap = lot("Balm", oil, wax), lot("Soap", oil)
    drawn = below([oil, wax, balm, soap], oil.id)
    told = {box.name: box.amount for box in drawn.boxes}
    ten = "10\N{NO-BREAK SPACE}g"
    assert told == {"Oil": "", "Wax": f"{ten} →", "Balm": "", "Soap": f"→ {ten}"}
