"""What a material cost and was offered at, drawn: a line for each pack, level to the next price."""

import re
from datetime import date
from decimal import Decimal
from uuid import UUID, uuid4

from api.pages.price_plot import price_plot
from api.pages.reader import Reader
from ledger.price_history import LandedPoint, OfferedPoint

MILL, PRESS = uuid4(), uuid4()
NAMES = {MILL: "Mill Oils", PRESS: "Press Oils"}
SMALL, LARGE, OTHER = uuid4(), uuid4(), uuid4()
LAST = date(2026, 11, 29)


def offer(on: date, of: UUID, pack: str, price: str | None, supplier: UUID = MILL) -> OfferedPoint:
    each = None if price is None else Decimal(price)
    return OfferedPoint(on, of, supplier, NAMES[supplier], True, pack, each, "USD", each)


def paid(on: date, price: str, supplier: UUID = MILL) -> LandedPoint:
    each = Decimal(price)
    return LandedPoint(on, uuid4(), uuid4(), "NB1", supplier, NAMES[supplier], each, each)


def drawn(
    landed: list[LandedPoint], offered: list[OfferedPoint], reader: Reader | None = None
) -> tuple[str, bool]:
    """The plot of rows that stand the latest first, as the history has them."""
    reader = reader or Reader()
    return price_plot(landed, offered, LAST, counted=False, reader=reader, currency="USD")


def line_of(plot: str, colour: str) -> list[tuple[float, float]]:
    """The corners of the line of a colour in the drawing itself, which come before the legend."""
    path = re.search(rf'<path d="([^"]*)"[^>]*stroke="{colour}"', plot)
    assert path
    return [(float(x), float(y)) for x, y in re.findall(r"[ML] ?([\d.]+) ([\d.]+)", path[1])]


def test_each_pack_has_a_line_of_its_own() -> None:
    """A gallon costs more than five: no line leads from one to the other."""
    plot, undrawn = drawn(
        [paid(date(2026, 9, 14), "7.2")],
        [
            offer(date(2026, 9, 2), LARGE, "5 gal", "5.7"),
            offer(date(2026, 9, 1), SMALL, "1 gal", "6.6"),
        ],
    )
    for name in ("Mill Oils offers 1 gal", "Mill Oils offers 5 gal", "Mill Oils, delivered"):
        assert plot.count(name) == 1
    assert not undrawn
    for colour in ("#d55e00", "#009e73"):
        assert len({y for _, y in line_of(plot, colour)}) == 1


def test_a_price_holds_until_the_next_and_to_the_last_day() -> None:
    rows = [
        offer(date(2026, 11, 19), SMALL, "1 gal", "8"),
        offer(date(2026, 9, 1), SMALL, "1 gal", "6"),
    ]
    corners = dict.fromkeys(line_of(drawn([], rows)[0], "#0072b2"))
    (first, low), (second, still), (turned, high), (end, kept) = corners
    assert (first < second, second, end > turned) == (True, turned, True)
    assert (low, high) == (still, kept)
    assert high < low, "up is a smaller y"


def test_what_is_not_offered_any_more_ends() -> None:
    ended = [
        offer(date(2026, 10, 1), OTHER, "2 kg", None, PRESS),
        offer(date(2026, 9, 1), OTHER, "2 kg", "9", PRESS),
    ]
    goes_on = offer(date(2026, 9, 1), SMALL, "1 gal", "6")
    plot, _ = drawn([], [ended[0], goes_on, ended[1]])
    last = {colour: max(x for x, _ in line_of(plot, colour)) for colour in ("#0072b2", "#d55e00")}
    assert last["#d55e00"] < last["#0072b2"], "what goes on comes first"


def test_a_pack_is_told_and_its_price_drawn_as_the_reader_has_them() -> None:
    rows = [offer(date(2026, 9, 1), SMALL, "2.5 kg", "6")]
    german = Reader(numbers="de", us=True)
    plot, _ = drawn([], rows, german)
    assert "Mill Oils offers 2,5 kg" in plot
    assert "USD / lb" in plot


def test_one_price_of_one_day_is_no_plot() -> None:
    assert drawn([paid(LAST, "7.2")], []) == ("", False)
    assert drawn([], [offer(LAST, SMALL, "1 gal", None)]) == ("", False)


def test_of_many_lines_the_latest_are_drawn_and_that_is_said() -> None:
    days = [date(2026, 9, day) for day in range(6, 0, -1)]
    rows = [offer(on, uuid4(), f"{on.day} kg", "6") for on in days]
    plot, undrawn = drawn([], rows)
    assert undrawn
    assert "offers 6 kg" in plot
    assert "offers 1 kg" not in plot


def test_what_is_still_offered_goes_before_what_ended() -> None:
    """However old its price is."""
    over = [uuid4() for _ in range(5)]
    rows = [offer(date(2026, 10, 2), one, f"{of} kg", None) for of, one in enumerate(over, 1)]
    rows += [offer(date(2026, 10, 1), one, f"{of} kg", "6") for of, one in enumerate(over, 1)]
    plot, undrawn = drawn([], [*rows, offer(date(2025, 3, 1), SMALL, "20 kg", "5")])
    assert undrawn
    assert "offers 20 kg" in plot
