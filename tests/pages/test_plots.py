"""Plots: drawn once for the same figures, and anew for others or for other words."""

from decimal import Decimal
from unittest.mock import patch

from django.utils import translation

from api.pages import plots


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
