"""The columns of lists that are brought in: what each means, for people and for whoever reads one.

What is said of a column stands here once: the page shows it, and so does the help of the API.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from formulas import formula_lists
from ledger import price_list_rows, stock_lists


class Reads(Enum):
    """What stands in a column: words, figures with or without a unit, or days."""

    WORDS = auto()
    FIGURES = auto()
    DAYS = auto()


@dataclass(frozen=True, slots=True)
class Column:
    """A column by its name, what it means, and an example."""

    name: str
    means: Promise | str
    example: str
    reads: Reads = Reads.WORDS
    needed: bool = False


# What a column means, an example, and what stands in it.
Meant = dict[str, tuple[Promise | str, str, Reads]]
WORDS, FIGURES, DAYS = Reads.WORDS, Reads.FIGURES, Reads.DAYS
_OF_PRICES: Final[Meant] = {
    "supplier": (_("The supplier's name, as it is written here."), "Harbour Oils", WORDS),
    "material": (_("The material's name or INCI name, as it is here."), "Glycerin", WORDS),
    "article_code": (_("The supplier's own number for this pack."), "G-5", WORDS),
    "pack": (_("How much one pack holds, with its unit."), "5 kg", FIGURES),
    "density": (_("What a millilitre weighs, where the pack is a volume."), "1.26 g/mL", FIGURES),
    "price": (_("What one pack costs, without its currency."), "40.00", FIGURES),
    "currency": (_("Its three letters; empty for the co-op's own."), "EUR", WORDS),
    "rate": (
        _("For another currency: what one of it is worth in the co-op's own."),
        "1.08",
        FIGURES,
    ),
    "valid_from": (_("The first day on which the price holds."), "2026-01-31", DAYS),
    "least_packs": (_("The fewest packs that one order may have; empty for one."), "2", FIGURES),
    "lead_time_days": (_("Days from the order until it comes."), "7", FIGURES),
    "shelf_life_days": (_("Days that it keeps from its delivery on."), "720", FIGURES),
    "break_1_from": (
        _("Cheaper from so much in one order on, with its unit; the next step has a 2."),
        "25 kg",
        FIGURES,
    ),
    "break_1_price": (_("What one pack costs from that quantity on."), "37.50", FIGURES),
    "note": (_("Anything else worth knowing."), "only on pallets", WORDS),
}
_OF_LOTS: Final[Meant] = {
    "material": (_("The material's name, as it is written here."), "Glycerin", WORDS),
    "quantity": (_("How much of the lot is left, with its unit."), "12.5 kg", FIGURES),
    "value": (
        _("What that is worth in the co-op's currency; 0 where it was given."),
        "104.00",
        FIGURES,
    ),
    "supplier_lot": (_("The supplier's own number of the lot."), "G-17", WORDS),
    "expires_on": (_("The last day on which it may be used."), "2027-06-30", DAYS),
    "retest_on": (_("The day by which it is to be tested again."), "2027-01-31", DAYS),
    "density": (
        _("What a millilitre weighs, where the quantity is a volume."),
        "1.26 g/mL",
        FIGURES,
    ),
    "released_because": (
        _("Why it may be used already; left empty, it waits for its release."),
        "certificate seen",
        WORDS,
    ),
    "place": (_("Where it lies: the name of a place of yours."), "Cold shelf", WORDS),
}
_OF_FORMULAS: Final[Meant] = {
    "formula": (_("The formula's name, the same in each of its rows."), "Hand balm", WORDS),
    "phase": (_("The phase in which it is weighed."), "A", WORDS),
    "ingredient": (_("The name of a material or formula, as it is here."), "Beeswax", WORDS),
    "percent": (
        _("How much of the formula it is, in percent by mass; balance for what is left to 100."),
        "20",
        FIGURES,
    ),
    "most_percent": (
        _("Where it goes in until it does its work: the most of it; percent is then the usual."),
        "1",
        FIGURES,
    ),
}


def _columns(
    names: Sequence[str],
    required: Sequence[str],
    meant: Meant,
) -> list[Column]:
    return [Column(name, *meant[name], needed=name in required) for name in names]


PRICES: Final = _columns(price_list_rows.columns(1), price_list_rows.REQUIRED, _OF_PRICES)
LOTS: Final = _columns(stock_lists.COLUMNS, stock_lists.REQUIRED, _OF_LOTS)
FORMULAS: Final = _columns(formula_lists.COLUMNS, formula_lists.REQUIRED, _OF_FORMULAS)


def first_of_its_kind(name: str) -> str:
    """A column as it is told: of the breaks the first stands for all."""
    return re.sub(r"^break_[0-9]+_", "break_1_", name)
