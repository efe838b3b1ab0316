"""What the demo co-op's makers make: eight formulas, two of them intermediates, and seven products.

They show how formulas are written. They are no advice on how a cosmetic is made: nobody has
assessed them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from formulas.infusing import Infusion

# Percent by mass; a pair is typical and maximum of a line to effect; "balance" takes the rest.
Amount = str | tuple[str, str]


@dataclass(frozen=True, slots=True)
class RecipeOf:
    """A formula of one maker: its phases, each with lines by material or formula."""

    maker: str
    name: str
    phases: Mapping[str, Mapping[str, Amount]]
    shelf_life_days: int
    loss: str = ""
    density: str = ""
    infusion: Infusion | None = None
    spent: str = ""
    # The most rework in percent; whether its pH has limits; what may stand in for a line.
    rework: str = ""
    ph: bool = False
    stand_ins: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ProductOf:
    """A product of one maker: a formula, its fill, and what one unit is packed in."""

    maker: str
    name: str
    formula: str
    nominal: str
    packaging: tuple[str, ...]
    overfill: str = "1"
    minutes_per_batch: str = "90"
    minutes_per_unit: str = "1.5"


HOURLY_RATE: Final = "21.00"
OVERHEAD_PER_BATCH: Final = "6.50"
PH_LIMITS: Final = {"target": "5.2", "low": "4.8", "high": "5.6"}

# An intermediate stands before what it goes into.
RECIPES: Final = {
    "glycerite": RecipeOf(
        "north",
        "Rosemary glycerite",
        {"Steep": {"leaf": "10", "glycerin": "90"}},
        infusion=Infusion(Decimal("1.5")),
        spent="leaf",
        shelf_life_days=365,
        density="1.2 g/mL",
    ),
    "hand wash": RecipeOf(
        "north",
        "Rosemary hand wash",
        {
            "Water": {"water": "balance", "glycerin": "5", "xanthan": "0.3"},
            "Surfactants": {"decyl": "15", "betaine": "12", "sulfate": "3.5"},
            "Cool": {"glycerite": "3", "protein": "1.5", "phenoxy": "1", "rosemary": "0.6"},
            "pH": {"citric": ("0.20", "0.50")},
        },
        loss="3",
        shelf_life_days=540,
        density="1.02 g/mL",
        ph=True,
        rework="5",
    ),
    "shampoo": RecipeOf(
        "north",
        "Rosemary shampoo",
        {
            "Water": {"water": "balance", "glycerin": "3", "xanthan": "0.4", "panthenol": "0.5"},
            "Surfactants": {"decyl": "20", "betaine": "10"},
            "Cool": {"glycerite": "2", "phenoxy": "1", "lavender": "0.4"},
            "pH": {"citric": ("0.30", "0.60")},
        },
        loss="3",
        shelf_life_days=540,
        density="1.03 g/mL",
        ph=True,
    ),
    "infusion": RecipeOf(
        "mill",
        "Oat infusion",
        {"Steep": {"water": "balance", "glycerin": "20", "oat": "5", "benzoate": "0.5"}},
        infusion=Infusion(Decimal(1), Decimal(2)),
        spent="oat",
        shelf_life_days=180,
        density="1.05 g/mL",
    ),
    "lotion": RecipeOf(
        "mill",
        "Oat lotion",
        {
            "Water": {"water": "balance", "glycerin": "4", "xanthan": "0.3"},
            "Oil": {"sunflower": "10", "stearate": "4", "cetearyl": "3", "shea": "3"},
            "Cool": {"infusion": "10", "phenoxy": "1", "tocopherol": "0.5", "lavender": "0.3"},
            "pH": {"citric": ("0.10", "0.30")},
        },
        loss="4",
        shelf_life_days=365,
        density="0.98 g/mL",
        ph=True,
    ),
    "body wash": RecipeOf(
        "mill",
        "Oat body wash",
        {
            "Water": {"water": "balance", "glycerin": "2", "xanthan": "0.4"},
            "Surfactants": {"decyl": "18", "betaine": "12"},
            "Cool": {"infusion": "8", "phenoxy": "1"},
            "pH": {"citric": ("0.20", "0.50")},
        },
        loss="3",
        shelf_life_days=540,
        density="1.02 g/mL",
        ph=True,
    ),
    "balm": RecipeOf(
        "quay",
        "Beeswax balm",
        {
            "Melt": {"sunflower": "balance", "beeswax": "22", "shea": "22.5", "jojoba": "10"},
            "Cool": {"tocopherol": "0.5"},
        },
        loss="2",
        shelf_life_days=730,
    ),
    "butter": RecipeOf(
        "quay",
        "Shea body butter",
        {
            "Melt": {"sunflower": "balance", "shea": "50", "coconut": "20", "cetearyl": "5"},
            "Cool": {"tocopherol": "0.5"},
        },
        loss="3",
        shelf_life_days=540,
    ),
}

PRODUCTS: Final = {
    "hand wash 250": ProductOf(
        "north",
        "Rosemary hand wash 250 mL",
        "hand wash",
        "250 mL",
        ("bottle 250", "pump", "label"),
    ),
    "hand wash 500": ProductOf(
        "north",
        "Rosemary hand wash 500 mL",
        "hand wash",
        "500 mL",
        ("bottle 500", "pump", "label"),
    ),
    "shampoo 250": ProductOf(
        "north",
        "Rosemary shampoo 250 mL",
        "shampoo",
        "250 mL",
        ("bottle 250", "cap", "label"),
    ),
    "lotion 200": ProductOf(
        "mill", "Oat lotion 200 mL", "lotion", "200 mL", ("bottle 200", "pump", "label")
    ),
    "body wash 250": ProductOf(
        "mill", "Oat body wash 250 mL", "body wash", "250 mL", ("bottle 250", "cap", "label")
    ),
    "balm 30": ProductOf(
        "quay",
        "Beeswax balm 30 g",
        "balm",
        "30 g",
        ("tin", "label"),
        minutes_per_batch="60",
        minutes_per_unit="0.5",
    ),
    "butter 100": ProductOf(
        "quay", "Shea body butter 100 g", "butter", "100 g", ("jar", "label"), minutes_per_unit="1"
    ),
}
