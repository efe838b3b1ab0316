"""The shelf that random batches are made from: the same recipes for the ledger and the oracle."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from formulas.composition import ToEffect
from formulas.models import FormulaVersion, Product
from ledger.access import acting_as
from ledger.models import Lot, Material
from ledger.quantities import Quantity, parse_quantity
from tests.factories import Workshop
from tests.ledger.books import Books
from tests.stateful.making_oracle import MakingOracle
from tests.stateful.oracle import MILLIONTH
from tests.stateful.plans import Recipe, Wanted, Ware

DENSITY = Fraction(126, 100)
POLICY = {
    "overfill_percent": "2.5",
    "minutes_per_batch": "45",
    "minutes_per_unit": "0.7",
    "hourly_rate": "19.99",
    "overhead_per_batch": "3.21",
    "overhead_percent": "7.5",
}


@dataclass
class Shelf:
    """A workshop with what it buys and what it makes."""

    shop: Workshop
    water: Material
    bought: list[Material]
    materials: list[Material]
    formulas: list[tuple[Recipe, FormulaVersion]]
    product: Product
    ware: Ware
    tap_lot: str = ""

    def tap(self, oracle: MakingOracle) -> str:
        """The lot that water is drawn from, or what stands for it until it is opened."""
        name = self.tap_lot or "the tap"
        oracle.material[name], oracle.status[name] = str(self.water.id), "released"
        return name

    def opened(self, oracle: MakingOracle, lot: Lot) -> str:
        """The lot of water is always the same one."""
        name = str(lot.id)
        assert self.tap_lot in ("", name)
        self.tap_lot = name
        return self.tap(oracle)

    def typed(self, lot: Lot | None, grams: Fraction) -> tuple[str, Fraction]:
        """By mass; of what has a density, now and then by volume, and the grams that it is."""
        if lot is None or lot.material_id != self.bought[0].id or int(grams / MILLIONTH) % 3:
            return f"{Decimal(int(grams / MILLIONTH)).scaleb(-6):f} g", grams
        tenths = int(grams / DENSITY * 10**4) or 1
        return f"{Decimal(tenths).scaleb(-4):f} mL", tenths * DENSITY / 10**4

    @staticmethod
    def mass(grams: Fraction) -> Quantity:
        """So many grams, as they are typed."""
        return parse_quantity(f"{Decimal(int(grams / MILLIONTH)).scaleb(-6):f} g")

    @staticmethod
    def pieces(count: Fraction) -> Quantity:
        """So many pieces, as they are typed."""
        return parse_quantity(f"{count} each")


def fill_shelf(
    books: Books, oracle: MakingOracle, bought: Sequence[Material], bottles: str
) -> Shelf:
    """Two materials, water, bottles and caps; an intermediate, a lotion and 100 mL of it."""
    shop = Workshop(books.bench.coop, books.actor)
    humectant, acid = bought
    with acting_as(books.actor):
        Material.objects.filter(id=humectant.id).update(density=Decimal("1.26"))
    water = shop.water(cost_per_kg=Decimal("0.37"))
    bottle, cap = (
        shop.material(name, measured_by="count", cost_formula=bottles) for name in ("Bottle", "Cap")
    )
    oracle.per_kg[str(water.id)] = Fraction("0.37")
    base = shop.formula(
        "Glycerite",
        [(humectant, "33.33"), (acid, "25"), (water, "41.67")],
        loss="12.5",
        shelf_life_days=20,
    )
    lotion = shop.formula(
        "Lotion",
        [
            (water, "balance"),
            (humectant, "20"),
            (base, "10.005"),
            (acid, ToEffect(Decimal("1.5"), Decimal(3))),
            (humectant, "5"),
        ],
        loss="3",
        density="0.97 g/mL",
    )
    product = shop.product(
        lotion,
        "100 mL",
        [(bottle, "1 each"), (cap, "2 each")],
        **{name: Decimal(figure) for name, figure in POLICY.items()},
    )
    made = [base.formula.material, lotion.formula.material, product.material]
    names = [str(m.id) for m in (humectant, acid, water, *made, bottle, cap)]
    glycerite, cream = _recipes(names)
    oracle.formula |= {name: "lot" for name in names[3:6]} | {name: bottles for name in names[6:]}
    return Shelf(
        shop,
        water,
        [humectant, acid, bottle, cap],
        [humectant, acid, bottle, cap, *made],
        [(glycerite, base), (cream, lotion)],
        product,
        _ware(names, cream),
    )


def _recipes(names: Sequence[str]) -> tuple[Recipe, Recipe]:
    humectant, acid, water, base, lotion = names[:5]
    return (
        Recipe(
            base,
            (
                Wanted(humectant, Fraction("33.33")),
                Wanted(acid, Fraction(25)),
                Wanted(water, Fraction("41.67")),
            ),
            Fraction("12.5"),
            20,
        ),
        Recipe(
            lotion,
            (
                Wanted(water, Fraction("63.495"), balance=True),
                Wanted(humectant, Fraction(20)),
                Wanted(base, Fraction("10.005")),
                Wanted(acid, Fraction("1.5"), most=Fraction(3)),
                Wanted(humectant, Fraction(5)),
            ),
            Fraction(3),
        ),
    )


def _ware(names: Sequence[str], lotion: Recipe) -> Ware:
    """100 mL at 0.97 g/mL with 2.5 % overfill is 99.425 g."""
    policy = {name: Fraction(figure) for name, figure in POLICY.items()}
    overfill = policy.pop("overfill_percent")
    return Ware(
        makes=names[5],
        recipe=lotion,
        fill=100 * Fraction("0.97") * (1 + overfill / 100),
        packaging={names[6]: Fraction(1), names[7]: Fraction(2)},
        **policy,
    )
