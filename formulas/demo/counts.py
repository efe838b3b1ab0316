"""What the demo's first maker counts: a shelf that is done, and one that somebody is still at."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

from formulas.counting import Cause, Explanation, close_count
from formulas.demo.bench import Bench
from formulas.demo.incidents import Incident
from ledger.counting import Chosen, Read, book_at, lines_of, open_sheet, read_lots
from ledger.models import CountLine, CountSheet
from ledger.quantities import kept_in, parse_quantity

# Grams or pieces that are gone of a material, and what had become of them.
GONE: Final = {
    "cap": (Decimal(4), "broken in the carton, and thrown away"),
    "rosemary": (Decimal(21), "the stopper of the bottle was loose"),
    "citric": (Decimal(54), "the bag had a tear"),
}
AGREES: Final = ("xanthan", "pump", "bottle 250")
NOT_EXPLAINED_YET: Final = {"panthenol": (Decimal(21), "")}
TO_BE_READ: Final = ("lavender", "protein", "sulfate")


def packing_shelf_counted(bench: Bench, days_ago: int) -> None:
    """Three differ; they are read once more and explained, and the sheet is closed."""
    sheet, lines = _open(bench, (*GONE, *AGREES), "packing shelf")
    _read(bench, sheet, lines, GONE, bench.at(days_ago, 9))
    differ = _first_lots(bench, lines, GONE)
    _read(bench, sheet, list(differ.values()), GONE, bench.at(days_ago, 10))
    bench.does(
        close_count,
        sheet=sheet.id,
        explanations=[
            Explanation(line.lot_id, [Cause("spill", GONE[name][1])])
            for name, line in differ.items()
        ],
        now=bench.at(days_ago, 11),
    )


def second_shelf_begun(bench: Bench, days_ago: int) -> None:
    """One lot was read, and lacks something; the others wait."""
    sheet, lines = _open(bench, (*NOT_EXPLAINED_YET, *TO_BE_READ), "cool cupboard")
    read = list(_first_lots(bench, lines, NOT_EXPLAINED_YET).values())
    _read(bench, sheet, read, NOT_EXPLAINED_YET, bench.at(days_ago, 16))


def _open(
    bench: Bench, names: Collection[str], place: str
) -> tuple[CountSheet, Sequence[CountLine]]:
    sheet = bench.does(
        open_sheet,
        chosen=Chosen(materials=[bench.materials[name] for name in names]),
        now=bench.at(0, 0),
        place=place,
        tolerance_percent=Decimal(1),
    )
    return sheet, bench.does(lambda actor: list(lines_of(sheet)))


def _first_lots(
    bench: Bench, lines: Sequence[CountLine], names: Collection[str]
) -> Mapping[str, CountLine]:
    """Of each of these materials the line that stands first."""
    found: dict[str, CountLine] = {}
    for name in names:
        own = [line for line in lines if line.material_id == bench.materials[name]]
        found[name] = own[0]
    return found


def _read(
    bench: Bench,
    sheet: CountSheet,
    lines: Sequence[CountLine],
    gone: Mapping[str, tuple[Decimal, str]],
    moment: datetime,
) -> None:
    """What lies there: as much as the books say, to the gram, but for what is gone."""
    less = {line.lot_id: gone[name][0] for name, line in _first_lots(bench, lines, gone).items()}
    books = bench.does(book_at, [(line.lot_id, moment) for line in lines])
    readings = []
    for line in lines:
        found = books[line.lot_id][0] - less.get(line.lot_id, Decimal(0))
        shown = found.quantize(Decimal(1), ROUND_HALF_EVEN)
        unit = kept_in(line.lot.material.counted)
        readings.append(Read(line.lot_id, quantity=parse_quantity(f"{shown:f} {unit}")))
    bench.does(read_lots, sheet=sheet.id, readings=readings, happened_at=moment, now=moment)


COUNTS: Final = (
    Incident(20, "north", packing_shelf_counted),
    Incident(1, "north", second_shelf_begun),
)
