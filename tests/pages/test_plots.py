"""Plots: drawn once for the same figures, and anew for others or for other words."""

import re
from datetime import date
from decimal import Decimal
from unittest.mock import patch
from uuid import uuid4

from django.utils import translation

from api.pages import plots
from api.pages.yields import yield_plot
from formulas.fill_reading import PastYield


def test_the_same_figures_are_drawn_once() -> None:
    with patch.object(plots, "_svg", wraps=plots._svg) as drawn:

        def spread(*weights: str) -> str:
            nets = [Decimal(one) for one in weights]
            return plots.spread("Weights", nets, [("nominal", nets[0])], y="g", x="pieces")

        first = spread("30.1", "29.8")
        assert first.startswith('<svg viewBox="')
        assert spread("30.1", "29.8") is first
        assert drawn.call_count == 1
        assert spread("30.1", "29.7") != first
        with translation.override("de"):
            spread("30.1", "29.8")
        assert drawn.call_count == 3


def test_a_series_is_known_by_its_points() -> None:
    with patch.object(plots, "_svg", wraps=plots._svg) as drawn:
        for last in ("3", "3", "4"):
            points = [(Decimal(1), Decimal(2)), (Decimal(2), Decimal(last))]
            plots.lines("Prices", [plots.Series("Oils", points)], y="USD")
        assert drawn.call_count == 2


def test_a_name_is_a_name_and_no_formula() -> None:
    """Between two dollar signs the library would set mathematics, and refuse what is none."""
    points = [(Decimal(1), Decimal(2)), (Decimal(2), Decimal(3))]
    drawn = plots.lines("Prices", [plots.Series("A $_$ B & <i>", points)], y="USD")
    assert "A $_$ B &amp; &lt;i&gt;" in drawn


def test_figures_and_days_are_the_reader_s() -> None:
    days = [(date(2026, 10, 1), Decimal("1500.5")), (date(2026, 12, 1), Decimal("3000.5"))]
    series = [plots.Series("Oils", days)]
    assert "1,000" in plots.lines("Prices", series, y="USD")
    with translation.override("de"):
        drawn = plots.lines("Prices", series, y="USD", numbers="de")
    assert "1.000" in drawn
    assert "1 Dez" in drawn or "15 Okt" in drawn or "1 Okt" in drawn
    shares = [("Oil", Decimal("0.25")), ("Jar", Decimal("0.5"))]
    assert "0,2<" in plots.bars("Cost", shares, x="EUR", numbers="de")
    assert "0.2<" in plots.bars("Cost", shares, x="EUR")


def test_months_of_years_have_their_year() -> None:
    days = [(date(2024, 1, 1), Decimal(1)), (date(2026, 7, 1), Decimal(2))]
    assert re.search(r">\s*\w+\.? 2025", plots.lines("Prices", [plots.Series("Oils", days)], y="€"))


def test_a_yield_stands_beside_those_of_earlier_batches() -> None:
    """A mark for each batch, and a line at this one, which the legend calls by its code."""
    days = [date(2026, 5, day) for day in (1, 8, 15)]
    yields = [Decimal("91.5"), Decimal(94), Decimal("97.25")]
    past = [
        PastYield(uuid4(), f"B-{n}", day, percent, percent)
        for n, (day, percent) in enumerate(zip(days, yields, strict=True))
    ]
    drawn = yield_plot(past, past[2].batch, "en")
    assert "B-2<" in drawn
    assert "B-0<" not in drawn
    assert marks_in(drawn) == 3
    assert marks_in(yield_plot(past[1:], past[2].batch, "en")) == 2
    assert yield_plot(past[2:], past[2].batch, "en") == ""


def test_of_hollow_marks_at_one_place_each_is_seen() -> None:
    """A later one is larger."""
    series = [plots.Series(name, [(Decimal(1), Decimal(0))]) for name in ("Shop", "Market")]
    marks = [plots.Mark(of, Decimal(1), Decimal(0), hollow=True) for of in range(2)]
    drawn = plots.curves("Margin", series, marks, x="x", y="y")
    # A circle and a square, as wide as they are drawn around the same middle.
    hollow = re.findall(r'<path id="[^"]*" d="([^"]*)" stroke="#(?:0072b2|d55e00)"', drawn)
    widths = [max(map(float, re.findall(r"-?\d+\.?\d*", one))) for one in hollow]
    assert len(widths) == 2
    assert widths[1] > widths[0] + 1


def marks_in(drawn: str) -> int:
    """The marks of the values, which are drawn within the axes; those of the scales are not."""
    (series,) = re.findall(r'<g clip-path="[^"]*">((?:\s*<use [^>]*/>)+)', drawn)
    return str(series).count("<use ")
