"""The picture of a trace: names that fit their boxes, and boxes that stand clear of each other."""

import uuid
from decimal import Decimal

from api.pages.flows import BOX_HEIGHT, BOX_WIDTH, LONGEST_NAME, picture
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


def test_a_long_name_keeps_its_beginning_and_its_end() -> None:
    short, long = lot("Glycerin"), lot("Rosemary hand wash, unscented, 250 mL")
    drawn = picture([short, long], short.id)
    assert drawn is not None
    assert [box.name for box in drawn.boxes] == ["Glycerin", "Rosemary han…250 mL"]
    assert all(len(box.name) <= LONGEST_NAME for box in drawn.boxes)


def test_boxes_stand_clear_of_each_other() -> None:
    oils = [lot(f"Oil {number}") for number in range(5)]
    base = lot("Base", *oils)
    balms = [lot(f"Balm {number}", base, oils[0]) for number in range(3)]
    drawn = picture([*oils, base, *balms], base.id)
    assert drawn is not None
    for one in drawn.boxes:
        for other in drawn.boxes:
            apart = abs(one.x - other.x) >= BOX_WIDTH + 100 or abs(one.y - other.y) >= BOX_HEIGHT
            assert one is other or apart
    assert len(drawn.bands) == 5 + 3 * 2


def test_a_lid_stands_beside_its_jars_and_not_at_the_far_end() -> None:
    oil, lid = lot("Oil"), lot("Lid")
    base = lot("Base", oil)
    jars = lot("Jars", base, lid)
    drawn = picture([oil, lid, base, jars], jars.id)
    assert drawn is not None
    across = {box.lot.id: box.x for box in drawn.boxes}
    assert across[oil.id] < across[base.id] == across[lid.id] < across[jars.id]


def test_boxes_lie_in_the_order_of_what_they_are_tied_to() -> None:
    oils = [lot(f"Oil {number}") for number in range(4)]
    balms = [lot(f"Balm {number}", one) for number, one in enumerate(oils)]
    drawn = picture([*oils, *reversed(balms)], oils[0].id)
    assert drawn is not None
    down = {box.lot.id: box.y for box in drawn.boxes}
    assert [down[one.id] for one in balms] == [down[one.id] for one in oils], "no band crosses"


def test_figures_of_a_picture_have_room() -> None:
    """Up to three stand one above the other; where there are more, only pointing tells them."""
    oils = [lot(f"Oil {number}") for number in range(5)]
    batches = [lot(f"Batch {number}", *oils[:3]) for number in range(4)]
    drawn = picture([*oils, *batches], oils[0].id)
    assert drawn is not None
    shown = [(band.x, band.y) for band in drawn.bands if band.told]
    assert len(shown) == len(drawn.bands) == 12
    for x, y in shown:
        assert [at for at in shown if at[0] == x and abs(at[1] - y) < 16] == [(x, y)]
    crowded = picture([*oils, *(lot(f"All {number}", *oils) for number in range(5))], oils[0].id)
    assert crowded is not None
    assert not any(band.told for band in crowded.bands)
