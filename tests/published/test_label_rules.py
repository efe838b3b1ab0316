"""What the rules of labels say in words, asked of what drafts them; each row carries its source."""

import re
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal as D
from fractions import Fraction as F

import pytest

from formulas.declaration import Declaration, Group, Market, Part, Stated, declare
from formulas.labels import Lasts, durability, months_after, net_contents
from ledger.quantities import convert
from tests.published.rows import Row, published_rows
from tests.published.test_adverse_clocks import RULES as CLOCKS

CUBIC_INCH = D("16.387064")
MADE = date(2025, 5, 6)
# One of them at exactly 1 %, a colourant above all but two, and none in the order of its name.
SHARES = {
    "Citric Acid": "0.4",
    "CI 77491": "5",
    "Glycerin": "12",
    "Parfum": "1",
    "Tocopherol": "0.6",
    "Aqua": "80",
    "Mica": "1",
}
BLEND = (Part("Limonene", D(50)),)
STATED = {name: Stated(name, name) for name in SHARES} | {
    "Mica": Stated("Mica", "Mica", colourant=True),
    "Parfum": Stated("Parfum", "Parfum", allergens=BLEND),
}


def declared(market: Market) -> Declaration:
    percents = {name: F(share) for name, share in SHARES.items()}
    return declare(percents, STATED, use="leave_on", market=market)


def groups(market: Market) -> list[tuple[Group, list[str]]]:
    """The groups as they follow each other, with the names in each."""
    found: list[tuple[Group, list[str]]] = []
    for one in declared(market).ingredients:
        if not found or found[-1][0] is not one.group:
            found.append((one.group, []))
        found[-1][1].append(one.inci_name)
    return found


def predominance(_: Row) -> None:
    others = [one for one in declared(Market.US).ingredients if one.group is not Group.COLOURANT]
    assert [one.percent for one in others] == sorted([one.percent for one in others], reverse=True)
    assert others[0].inci_name == "Water"


def fragrance(row: Row) -> None:
    """As a word of the row, and by none of its parts; in the EU its allergens are named."""
    names = [one.inci_name for one in declared(Market.US).ingredients]
    assert [name for name in names if f'"{name.lower()}"' in row.expected] == ["Fragrance"]
    assert "Limonene" not in names
    assert "Limonene" in declared(Market.EU).text


def above(_: Row) -> None:
    assert groups(Market.US)[0] == (Group.ABOVE, ["Water", "Glycerin"])


def up_to(_: Row) -> None:
    """At 1 % as well; that their order is free is said by their group."""
    group, names = groups(Market.US)[1]
    assert group is Group.UP_TO
    assert set(names) == {"Fragrance", "Tocopherol", "Citric Acid"}


def colourants(_: Row) -> None:
    """At 5 and at 1 %, of which one has a number and the other is one by what is stated."""
    for market in Market:
        group, names = groups(market)[-1]
        assert group is Group.COLOURANT
        assert set(names) == {"CI 77491", "Mica"}


def in_the_eu(_: Row) -> None:
    """What is at 1 % has its fixed place there; below it the order is free."""
    (first, fixed), (second, free), _last = groups(Market.EU)
    assert (first, fixed) == (Group.ABOVE, ["Aqua", "Glycerin", "Parfum"])
    assert second is Group.UP_TO
    assert set(free) == {"Limonene", "Tocopherol", "Citric Acid"}


def liquid(_: Row) -> None:
    found = net_contents(millilitres=D(250), grams=None)
    assert (found.by, found.text) == ("volume", "8.45 fl oz, 250 mL")


def by_weight(_: Row) -> None:
    found = net_contents(millilitres=None, grams=D(50))
    assert (found.by, found.text) == ("mass", "Net Wt 1.76 oz, 50 g")


def gallon(row: Row) -> None:
    inches = D(row.expected.split()[2])
    parts = {"gal": 1, "qt": 4, "pt": 8, "fl oz": 128}
    for unit, count in parts.items():
        millilitres = inches * CUBIC_INCH / count
        assert convert(f"{millilitres:f} mL", "fl oz") == D(128) / count
        stated = net_contents(millilitres=millilitres, grams=None).us
        assert f"1 {unit}" in stated.removesuffix(")").split(" (")[-1]


def pound(_: Row) -> None:
    """The avoirdupois pound is 0.45359237 kg, and its ounce the sixteenth of it."""
    assert net_contents(millilitres=None, grams=D("453.59237")).us == "16 oz (1 lb)"
    assert net_contents(millilitres=None, grams=D("28.349523125")).us == "1 oz"


def small_packs(row: Row) -> None:
    found = re.search(r"under (\d+) g or (\d+) mL", row.inputs["case"])
    assert found is not None
    grams, millilitres = D(found[1]), D(found[2])
    hair = D("0.01")
    assert not net_contents(millilitres=None, grams=grams - hair).required_in_eu
    assert not net_contents(millilitres=millilitres - hair, grams=None).required_in_eu
    assert net_contents(millilitres=None, grams=grams).required_in_eu
    assert net_contents(millilitres=millilitres, grams=None).required_in_eu


def thirty_months(row: Row) -> None:
    found = re.search(r"above (\d+) months", row.inputs["case"])
    assert found is not None
    last = months_after(MADE, int(found[1]))
    at = durability(made_on=MADE, expires_on=last, opened_months=12)
    assert (at.kind, at.text) == (Lasts.BEST_BEFORE, "Best before 06 Nov 2027")
    later = last + timedelta(days=1)
    beyond = durability(made_on=MADE, expires_on=later, opened_months=12)
    assert (beyond.kind, beyond.text) == (Lasts.AFTER_OPENING, "12M after opening")


def no_ingredient(_: Row) -> None:
    """A material that is stated to be absent from what is sold takes no share either."""
    stated = {"w": Stated("Water", "Aqua"), "e": Stated("Ethanol", "Alcohol", absent=True)}
    found = declare({"w": F(60), "e": F(40)}, stated, use="leave_on")
    assert [(one.inci_name, one.percent) for one in found.ingredients] == [("Aqua", F(100))]


def said_of(row: Row, what: str) -> None:
    """The note on the allergens has the row's day, and beside it what it is the day of."""
    day = row.expected.removeprefix("until ")
    (note,) = [one for one in declared(Market.EU).notes if day in one]
    assert f"from {day} for {what}" in note
    assert not [one for one in declared(Market.US).notes if day in one]


def placed(row: Row) -> None:
    said_of(row, "what is first sold then")


def on_the_shelf(row: Row) -> None:
    said_of(row, "all that is sold")


RULES: dict[str, Callable[[Row], None]] = {
    "rule: ingredient order": predominance,
    "rule: fragrance": fragrance,
    "rule: above 1 %": above,
    "rule: at or below 1 %": up_to,
    "rule: colour additives": colourants,
    "rule: net contents: liquid": liquid,
    "rule: net contents: solid, semisolid, viscous or mixture": by_weight,
    "rule: US gallon for labels": gallon,
    "rule: weight unit for labels": pound,
    "rule: EU nominal content": small_packs,
    "rule: EU durability": thirty_months,
    "rule: EU ingredient order": in_the_eu,
    "rule: EU: what is not an ingredient": no_ingredient,
    "rule: EU allergens, date 1": placed,
    "rule: EU allergens, date 2": on_the_shelf,
}
# Asked where there are lots (`tests/formulas/test_labelling.py`) and limits (`test_labels.py`).
ELSEWHERE = {"rule: EU label: batch number", "rule: reference temperature"}


@pytest.mark.parametrize("row", published_rows("labels.csv", *RULES))
def test_rules(row: Row) -> None:
    RULES[row.quantity](row)


def test_every_rule_is_checked_by_one_of_these() -> None:
    rows = [param.values[0] for param in published_rows("labels.csv", "rule: ")]
    assert {row.quantity for row in rows} == RULES.keys() | CLOCKS.keys() | ELSEWHERE
