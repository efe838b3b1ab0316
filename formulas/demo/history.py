"""What happened at the demo co-op in its quarter, in days before today."""

from dataclasses import dataclass
from typing import Final, Literal

LONG_AGO: Final = 91
COOP: Final = "Harbour Makers"
MAKERS: Final = {"north": "North Bench", "mill": "Mill Bench", "quay": "Quay Bench"}
# Mill Bench keeps its books first in, first out; the others by moving average.
FIFO_MAKER: Final = "mill"
SEEN: Final = "certificate agrees with the specification"


@dataclass(frozen=True, slots=True)
class Bought:
    """One line of a delivery: `keeps` is the days after arrival on which it may be used."""

    material: str
    quantity: str
    price: str
    keeps: int | None = None


@dataclass(frozen=True, slots=True)
class Delivery:
    """A delivery; without a basis its lots stay in quarantine until somebody decides.

    `ordered` is how many days before it came it was ordered, where an order was written.
    """

    days_ago: int
    maker: str
    supplier: str
    lines: tuple[Bought, ...]
    freight: str
    spread_by: Literal["mass", "value"] = "mass"
    basis: str = SEEN
    ordered: int = 0


@dataclass(frozen=True, slots=True)
class Beside:
    """What goes into a batch beside its formula, and why: an addition, or rework."""

    what: str
    quantity: str
    why: str
    rework: bool = False


@dataclass(frozen=True, slots=True)
class Made:
    """A batch of units of a product, or of so much of a formula, weighed and finished in a day.

    `lost` is declared abnormal. `without_release` is the reason for pouring lots that nobody had
    released yet.
    """

    days_ago: int
    what: str
    size: int | str
    lost: str = ""
    because: str = ""
    without_release: str = ""
    beside: tuple[Beside, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """A batch that is planned for a day to come, `in_days` from today."""

    in_days: int
    what: str
    size: int


@dataclass(frozen=True, slots=True)
class WatchOver:
    """A reorder point."""

    maker: str
    material: str
    reorder_point: str


DELIVERIES: Final = (
    Delivery(
        90,
        "north",
        "surfactants",
        (
            Bought("decyl", "50 lb", "185.00", 700),
            Bought("betaine", "3 gal", "74.00", 700),
            Bought("sulfate", "11 lb", "52.00", 900),
        ),
        "38.50",
    ),
    Delivery(
        89,
        "north",
        "botanicals",
        (
            Bought("leaf", "1 lb", "14.50", 500),
            Bought("rosemary", "16 fl oz", "78.00", 700),
            Bought("lavender", "16 fl oz", "92.00", 700),
            Bought("protein", "2 kg", "44.00", 600),
        ),
        "11.20",
        "value",
    ),
    Delivery(
        88,
        "north",
        "chemicals",
        (
            Bought("glycerin", "2 gal", "92.00", 720),
            Bought("phenoxy", "2 kg", "39.00", 900),
            Bought("xanthan", "1 kg", "21.00", 720),
            Bought("citric", "1 kg", "7.50", 1000),
            Bought("panthenol", "500 g", "24.00", 700),
        ),
        "19.90",
    ),
    Delivery(
        88,
        "north",
        "packaging",
        (
            Bought("bottle 250", "300 each", "126.00"),
            Bought("pump", "500 each", "165.00"),
            Bought("cap", "250 each", "40.00"),
            Bought("label", "1000 each", "90.00"),
        ),
        "24.00",
        "value",
    ),
    Delivery(
        48,
        "north",
        "surfactants",
        (Bought("decyl", "25 lb", "99.00", 700), Bought("betaine", "3 gal", "76.50", 700)),
        "31.40",
        ordered=8,
    ),
    Delivery(
        46,
        "north",
        "botanicals",
        (Bought("leaf", "8 oz wt", "8.20", 500), Bought("rosemary", "16 fl oz", "81.00", 700)),
        "6.80",
        "value",
        ordered=6,
    ),
    Delivery(
        45, "north", "chemicals", (Bought("glycerin", "1 gal", "48.00", 720),), "9.60", ordered=5
    ),
    Delivery(
        62,
        "north",
        "packaging",
        (Bought("bottle 250", "300 each", "129.00"), Bought("bottle 500", "50 each", "36.00")),
        "18.00",
        "value",
        ordered=11,
    ),
    Delivery(
        90,
        "mill",
        "surfactants",
        (Bought("decyl", "25 lb", "96.00", 700), Bought("betaine", "2 gal", "50.00", 700)),
        "27.75",
    ),
    Delivery(
        89,
        "mill",
        "oils",
        (
            Bought("sunflower", "2 gal", "41.00", 540),
            Bought("shea", "5 kg", "47.50", 700),
            Bought("cetearyl", "3 kg", "25.50", 900),
        ),
        "21.30",
    ),
    Delivery(
        89,
        "mill",
        "chemicals",
        (
            Bought("glycerin", "1 gal", "47.00", 720),
            Bought("stearate", "4 kg", "58.00", 720),
            Bought("phenoxy", "2 kg", "39.00", 900),
            Bought("xanthan", "1 kg", "21.00", 720),
            Bought("citric", "500 g", "4.50", 1000),
            Bought("benzoate", "250 g", "3.90", 1000),
            Bought("tocopherol", "16 fl oz", "33.00", 500),
        ),
        "22.60",
    ),
    Delivery(
        88,
        "mill",
        "botanicals",
        (Bought("oat", "2 lb", "9.80", 360), Bought("lavender", "16 fl oz", "92.00", 700)),
        "7.10",
        "value",
    ),
    Delivery(
        88,
        "mill",
        "packaging",
        (
            Bought("bottle 200", "400 each", "152.00"),
            Bought("bottle 250", "300 each", "126.00"),
            Bought("pump", "500 each", "165.00"),
            Bought("cap", "300 each", "48.00"),
            Bought("label", "1000 each", "90.00"),
        ),
        "31.00",
        "value",
    ),
    Delivery(47, "mill", "oils", (Bought("sunflower", "1 gal", "21.50", 540),), "8.40", ordered=5),
    Delivery(
        46,
        "mill",
        "surfactants",
        (Bought("decyl", "10 lb", "41.00", 700), Bought("betaine", "1 gal", "26.50", 700)),
        "14.90",
        ordered=9,
    ),
    Delivery(
        45, "mill", "chemicals", (Bought("glycerin", "1 gal", "48.00", 720),), "9.60", ordered=3
    ),
    # The certificate has not come yet.
    Delivery(
        1,
        "mill",
        "chemicals",
        (Bought("phenoxy", "2 kg", "40.50", 900),),
        "6.20",
        basis="",
        ordered=4,
    ),
    Delivery(
        90,
        "quay",
        "oils",
        (
            Bought("sunflower", "3 gal", "58.50", 540),
            Bought("shea", "10 kg", "89.00", 700),
            Bought("jojoba", "1 gal", "118.00", 700),
            Bought("coconut", "12 lb", "31.00", 540),
            Bought("cetearyl", "2 kg", "17.50", 900),
            Bought("tocopherol", "16 fl oz", "33.00", 500),
        ),
        "44.20",
    ),
    # Bought for a scented balm that was never made; its time ran out on the shelf.
    Delivery(
        89,
        "quay",
        "botanicals",
        (Bought("beeswax", "8 lb", "62.00", 1500), Bought("lavender", "8 fl oz", "51.00", 77)),
        "9.30",
        "value",
    ),
    # For a balm of another scent; most of it will be too old before anybody makes it.
    Delivery(
        60, "quay", "botanicals", (Bought("rosemary", "4 fl oz", "24.00", 78),), "4.00", "value"
    ),
    Delivery(
        88,
        "quay",
        "packaging",
        (
            Bought("tin", "700 each", "262.00"),
            Bought("jar", "300 each", "177.00"),
            Bought("label", "1500 each", "120.00"),
        ),
        "22.00",
        "value",
    ),
    Delivery(
        50,
        "quay",
        "oils",
        (Bought("sunflower", "3 gal", "60.00", 540), Bought("shea", "10 kg", "91.00", 700)),
        "29.80",
        ordered=6,
    ),
    Delivery(
        49, "quay", "botanicals", (Bought("beeswax", "11 lb", "86.00", 1500),), "7.90", basis=""
    ),
    Delivery(
        30, "quay", "packaging", (Bought("label", "250 each", "30.00"),), "4.00", "value", basis=""
    ),
)

BATCHES: Final = (
    Made(86, "glycerite", "2.3 kg"),
    Made(84, "hand wash 250", 60),
    Made(79, "shampoo 250", 40),
    Made(75, "hand wash 250", 60),
    Made(70, "shampoo 250", 40),
    Made(66, "hand wash 250", 60),
    Made(71, "glycerite", "2.2 kg"),
    Made(56, "hand wash 250", 60, lost="1.3 kg", because="a valve of the filler stood open"),
    Made(50, "shampoo 250", 40),
    Made(43, "hand wash 250", 60),
    Made(45, "glycerite", "2.3 kg"),
    Made(
        34,
        "hand wash",
        "12 kg",
        beside=(
            Beside("hand wash", "500 g", "the wash is good, and the labels were torn", rework=True),
        ),
    ),
    Made(
        27,
        "shampoo 250",
        40,
        beside=(Beside("xanthan", "6 g", "too thin after cooling; stirred in by hand"),),
    ),
    Made(19, "hand wash 250", 60),
    Made(87, "infusion", "4.5 kg"),
    Made(85, "lotion 200", 60),
    Made(80, "body wash 250", 50),
    Made(74, "lotion 200", 60),
    Made(67, "body wash 250", 50),
    Made(68, "infusion", "4.5 kg"),
    Made(61, "lotion 200", 60),
    Made(55, "body wash 250", 50),
    Made(44, "infusion", "4.5 kg"),
    Made(42, "lotion 200", 60),
    Made(36, "body wash 250", 50),
    Made(26, "infusion", "3 kg"),
    Made(24, "lotion 200", 60),
    Made(86, "balm 30", 120),
    Made(82, "butter 100", 40),
    Made(76, "balm 30", 120),
    Made(71, "butter 100", 40),
    Made(64, "balm 30", 120),
    Made(58, "butter 100", 40),
    Made(54, "balm 30", 120),
    Made(
        48,
        "balm 30",
        120,
        without_release="certificate still in the post; melting point and odour agree",
    ),
    Made(45, "butter 100", 40),
    Made(35, "butter 100", 40),
    Made(31, "balm 30", 120),
    Made(17, "balm 30", 120),
    Made(13, "butter 100", 40),
)

PLANS: Final = (
    Plan(1, "hand wash 250", 60),
    Plan(2, "lotion 200", 60),
    Plan(3, "balm 30", 120),
    Plan(6, "shampoo 250", 40),
    Plan(9, "body wash 250", 50),
    # There is not enough glycerin for it any more.
    Plan(12, "hand wash 250", 60),
)

WATCHES: Final = (
    WatchOver("north", "glycerin", "5 kg"),
    WatchOver("north", "decyl", "2 kg"),
    WatchOver("north", "pump", "10 each"),
    WatchOver("mill", "phenoxy", "1 kg"),
    WatchOver("mill", "sunflower", "1 kg"),
    WatchOver("mill", "bottle 200", "30 each"),
    WatchOver("quay", "beeswax", "1 kg"),
    WatchOver("quay", "tin", "30 each"),
)
