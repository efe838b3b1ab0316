"""A recipe that was changed: the demo's shampoo, somewhat thicker, in a second version."""

from dataclasses import replace
from typing import Final

from formulas.composing import new_version
from formulas.demo.bench import Bench
from formulas.demo.incidents import Incident
from formulas.demo.recipes import RECIPES

THICKER: Final = {
    "Water": {"water": "balance", "glycerin": "3", "xanthan": "0.5", "panthenol": "0.8"},
    "Surfactants": {"decyl": "19", "betaine": "11.5"},
}


def shampoo_made_thicker(bench: Bench, days_ago: int) -> None:
    """More gum and betaine, less glucoside; and rosemary may stand in for the scent."""
    first = RECIPES["shampoo"]
    second = replace(
        first,
        phases={**first.phases, **THICKER},
        stand_ins={"lavender": ("rosemary",)},
    )
    bench.does(
        new_version,
        formula=bench.formulas["shampoo"],
        expected_version=1,
        draft=replace(bench.draft(second), note="it ran off the hand"),
    )


VERSIONS: Final = (Incident(39, "north", shampoo_made_thicker),)
