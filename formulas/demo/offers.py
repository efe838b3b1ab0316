"""What the demo's suppliers offer to all makers of the co-op: packs, price breaks, freight.

The coordinator keeps it. Prices are near what the deliveries of `history` cost, and one of them
jumps, as prices do.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Final

from formulas.demo.bench import Bench
from formulas.demo.history import LONG_AGO
from ledger.models import Offer
from ledger.offer_prices import FreightKind
from ledger.offering import (
    BreakFacts,
    PriceFacts,
    TermsFacts,
    add_offer,
    reprice,
    set_supplier_terms,
)
from ledger.quantities import parse_quantity


@dataclass(frozen=True, slots=True)
class Pack:
    """A pack of a material with its price; `breaks` are prices of a pack from a quantity on.

    `later` are other prices, each from so many days ago on.
    """

    material: str
    pack: str
    price: str
    breaks: tuple[tuple[str, str], ...] = ()
    later: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Conditions:
    """What holds for a whole order: its least amount, its freight, and the days that it takes."""

    minimum: str | None
    freight_kind: FreightKind
    freight: str
    free_from: str | None
    days: int


CONDITIONS: Final = {
    "oils": Conditions("40.00", FreightKind.FLAT, "12.00", "250.00", 5),
    "botanicals": Conditions(None, FreightKind.FLAT, "7.50", None, 6),
    "surfactants": Conditions("60.00", FreightKind.MASS, "0.90", "450.00", 7),
    "chemicals": Conditions("30.00", FreightKind.FLAT, "9.60", "300.00", 4),
    "packaging": Conditions("50.00", FreightKind.FLAT, "18.00", "500.00", 9),
}

PACKS: Final = {
    "oils": (
        Pack("sunflower", "1 gal", "21.50"),
        Pack("sunflower", "5 gal", "92.00", later=((60, "95.00"),)),
        Pack("shea", "5 kg", "47.50"),
        Pack("shea", "10 kg", "89.00", breaks=(("30 kg", "81.00"),), later=((60, "91.00"),)),
        Pack("jojoba", "1 gal", "118.00"),
        Pack("coconut", "12 lb", "31.00"),
        Pack("cetearyl", "1 kg", "9.00"),
        Pack("cetearyl", "5 kg", "38.50"),
        Pack("tocopherol", "16 fl oz", "33.00"),
        Pack("beeswax", "1 kg", "17.90"),
    ),
    "botanicals": (
        Pack("leaf", "8 oz wt", "8.20"),
        Pack("leaf", "1 lb", "14.50"),
        Pack("rosemary", "16 fl oz", "78.00", later=((60, "81.00"),)),
        Pack("lavender", "16 fl oz", "92.00"),
        Pack("protein", "2 kg", "44.00"),
        Pack("oat", "2 lb", "9.80"),
        Pack("oat", "10 lb", "38.00"),
        Pack("beeswax", "11 lb", "86.00"),
    ),
    "surfactants": (
        Pack("decyl", "10 lb", "41.00"),
        Pack("decyl", "25 lb", "96.00", later=((60, "99.00"),)),
        Pack("decyl", "50 lb", "185.00"),
        Pack("betaine", "1 gal", "26.00", later=((60, "26.50"), (10, "31.80"))),
        Pack("betaine", "5 gal", "112.00"),
        Pack("sulfate", "11 lb", "52.00"),
        Pack("glycerin", "5 gal", "199.00", breaks=(("15 gal", "184.00"),)),
    ),
    "chemicals": (
        Pack("glycerin", "1 gal", "48.00"),
        Pack("glycerin", "5 gal", "212.00"),
        Pack("phenoxy", "1 kg", "21.50"),
        Pack("phenoxy", "2 kg", "39.00", breaks=(("6 kg", "36.00"),), later=((7, "40.50"),)),
        Pack("xanthan", "1 kg", "21.00"),
        Pack("citric", "1 kg", "7.50"),
        Pack("citric", "5 kg", "27.50"),
        Pack("panthenol", "500 g", "24.00"),
        Pack("benzoate", "250 g", "3.90"),
        Pack("stearate", "1 kg", "16.40"),
        Pack("stearate", "4 kg", "58.00"),
        Pack("tocopherol", "8 fl oz", "19.50"),
    ),
    "packaging": (
        Pack("bottle 200", "400 each", "152.00", breaks=(("1200 each", "139.00"),)),
        Pack("bottle 250", "300 each", "129.00", breaks=(("900 each", "117.00"),)),
        Pack("bottle 500", "50 each", "36.00"),
        Pack("pump", "500 each", "165.00", breaks=(("1500 each", "150.00"),)),
        Pack("cap", "250 each", "40.00"),
        Pack("tin", "300 each", "117.00"),
        Pack("jar", "300 each", "177.00"),
        Pack("label", "250 each", "30.00"),
        Pack("label", "1000 each", "90.00", breaks=(("3000 each", "81.00"),)),
    ),
}


def write_offers(coop: Bench) -> list[tuple[int, Callable[[], None]]]:
    """Write all packs as they were at first; returns the later prices, each with its days ago."""
    since = coop.day(LONG_AGO)
    later: list[tuple[int, Callable[[], None]]] = []
    for supplier, conditions in CONDITIONS.items():
        coop.does(
            set_supplier_terms, supplier=coop.suppliers[supplier], terms=_terms(conditions, since)
        )
        for pack in PACKS[supplier]:
            offer = coop.does(
                add_offer,
                supplier=coop.suppliers[supplier],
                material=coop.materials[pack.material],
                pack=parse_quantity(pack.pack),
                price=_price(pack, since, pack.price),
            )
            later += [
                (ago, partial(_reprice, coop, offer, pack, ago, to)) for ago, to in pack.later
            ]
    return later


def _terms(conditions: Conditions, since: date) -> TermsFacts:
    minimum, free_from = (
        None if amount is None else Decimal(amount)
        for amount in (conditions.minimum, conditions.free_from)
    )
    return TermsFacts(
        since,
        minimum=minimum,
        freight_kind=conditions.freight_kind.value,
        freight=Decimal(conditions.freight),
        free_from=free_from,
        lead_time_days=conditions.days,
    )


def _price(pack: Pack, since: date, price: str, note: str = "") -> PriceFacts:
    breaks = [BreakFacts(parse_quantity(least), Decimal(to)) for least, to in pack.breaks]
    return PriceFacts(since, Decimal(price), breaks=breaks, note=note)


def _reprice(coop: Bench, offer: Offer, pack: Pack, days_ago: int, price: str) -> None:
    facts = _price(pack, coop.day(days_ago), price, "new price list")
    coop.does(reprice, offer=offer.id, price=facts)
