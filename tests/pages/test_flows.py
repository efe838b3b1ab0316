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
