"""What the demo co-op's makers buy, and from whom."""

from decimal import Decimal
from typing import Final

from ledger.catalogue import MaterialFacts
from ledger.quantities import parse_density, parse_quantity

SUPPLIERS: Final = {
    "oils": "Coast Oils",
    "botanicals": "Hill Botanicals",
    "surfactants": "Valley Surfactants",
    "chemicals": "Town Chemicals",
    "packaging": "Bay Packaging",
}


def weighed(
    name: str,
    inci: str,
    *,
    cas: str = "",
    density: str = "",
    caution: str = "",
    use_within_days: int | None = None,
) -> MaterialFacts:
    """A material by mass; the densities are typical ones at 20 degC, in g/mL."""
    return MaterialFacts(
        name=name,
        measured_by="mass",
        inci_name=inci,
        cas_number=cas,
        density=parse_density(f"{density} g/mL", "20 degC") if density else None,
        cautions=[caution] if caution else [],
        use_within_days=use_within_days,
    )


def counted(name: str, mass_each: str) -> MaterialFacts:
    """Packaging, by the piece."""
    return MaterialFacts(
        name=name,
        measured_by="count",
        cost_class="packaging",
        mass_each=parse_quantity(mass_each),
    )


MATERIALS: Final = {
    "water": MaterialFacts(
        name="Water",
        measured_by="mass",
        inci_name="Aqua",
        cas_number="7732-18-5",
        density=parse_density("0.998 g/mL", "20 degC"),
        stocked=False,
        cost_per_kg=Decimal("0.0042"),
        cost_source="water bill of last year",
    ),
    "glycerin": weighed("Glycerin", "Glycerin", cas="56-81-5", density="1.26"),
    "decyl": weighed("Decyl glucoside", "Decyl Glucoside", cas="68515-73-1", density="1.08"),
    "betaine": weighed("Coco-betaine", "Coco-Betaine", cas="68424-94-2", density="1.04"),
    "sulfate": weighed("Sodium coco-sulfate", "Sodium Coco-Sulfate", cas="97375-27-4"),
    "protein": weighed(
        *("Hydrolyzed oat protein", "Hydrolyzed Oat Protein"), density="1.09", use_within_days=180
    ),
    "phenoxy": weighed(
        *("Phenoxyethanol", "Phenoxyethanol"),
        cas="122-99-6",
        density="1.11",
        caution="preservative",
    ),
    "benzoate": weighed(
        "Sodium benzoate", "Sodium Benzoate", cas="532-32-1", caution="preservative"
    ),
    "citric": weighed("Citric acid", "Citric Acid", cas="77-92-9"),
    "xanthan": weighed("Xanthan gum", "Xanthan Gum", cas="11138-66-2"),
    "panthenol": weighed("Panthenol", "Panthenol", cas="81-13-0"),
    "leaf": weighed("Rosemary leaf, dried", "Rosmarinus Officinalis Leaf"),
    "oat": weighed("Oat kernel flour", "Avena Sativa Kernel Flour"),
    "rosemary": weighed("Rosemary oil", "Rosmarinus Officinalis Leaf Oil", density="0.91"),
    "lavender": weighed("Lavender oil", "Lavandula Angustifolia Oil", density="0.885"),
    "sunflower": weighed("Sunflower seed oil", "Helianthus Annuus Seed Oil", density="0.92"),
    "jojoba": weighed("Jojoba oil", "Simmondsia Chinensis Seed Oil", density="0.865"),
    "coconut": weighed("Coconut oil", "Cocos Nucifera Oil", cas="8001-31-8"),
    "shea": weighed("Shea butter", "Butyrospermum Parkii Butter"),
    "beeswax": weighed("Beeswax", "Cera Alba", cas="8012-89-3"),
    "cetearyl": weighed("Cetearyl alcohol", "Cetearyl Alcohol", cas="67762-27-0"),
    "stearate": weighed("Glyceryl stearate citrate", "Glyceryl Stearate Citrate"),
    "tocopherol": weighed("Tocopherol", "Tocopherol", cas="59-02-9", density="0.95"),
    "bottle 200": counted("Bottle 200 mL", "24 g"),
    "bottle 250": counted("Bottle 250 mL", "28 g"),
    "bottle 500": counted("Bottle 500 mL", "42 g"),
    "pump": counted("Lotion pump", "14 g"),
    "cap": counted("Flip cap", "5 g"),
    "tin": counted("Tin 30 mL", "16 g"),
    "jar": counted("Jar 100 mL", "38 g"),
    "label": counted("Label", "1 g"),
}
