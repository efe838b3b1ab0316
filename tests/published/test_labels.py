"""GS1 keys and carriers, allergens, order of ingredients and dual contents, as published."""

import json
import re
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from formulas.declaration import Group, Market, Part, Stated, declare, must_be_named
from formulas.label_volumes import REFERENCE, for_labels
from formulas.labels import net_contents
from ledger import gs1
from ledger.quantities import convert, parse_density

from .rows import Row, published_rows


@pytest.mark.parametrize("row", published_rows("labels.csv", "GS1 mod-10 check digit"))
def test_check_digit(row: Row) -> None:
    assert gs1.check_digit(row.inputs["digits_without_check"]) == int(row.expected)


@pytest.mark.parametrize("row", published_rows("labels.csv", "GTIN is valid"))
def test_gtin(row: Row) -> None:
    assert gs1.is_gtin(row.inputs["gtin"]) == (row.expected == "true")


@pytest.mark.parametrize("row", published_rows("labels.csv", "GTIN-13 stored as GTIN-14"))
def test_gtin_14(row: Row) -> None:
    assert gs1.gtin14(row.inputs["gtin13"]) == row.expected


SAMPLES = {"N2+N14": "09521234543213", "N2+X..20": "A1-b/7", "N2+N6": "261231", "N4+N6": "000123"}


@pytest.mark.parametrize("row", published_rows("labels.csv", "Application Identifier"))
def test_identifiers(row: Row) -> None:
    """A value of fixed length needs no separator after it; one of another length is refused."""
    told = json.loads(row.expected)
    ai = row.inputs["AI"].replace("n", "3")
    if ai == "00":
        assert not gs1.fits("00", "1" * 18), "of pallets, which are not marked here"
        return
    sample = SAMPLES[told["format"]]
    carried = gs1.element_string([(ai, sample), ("10", "Z")], "|")
    assert carried == f"{ai}{sample}{'|' if told['FNC1_required'] == 'yes' else ''}10Z"
    assert not gs1.fits(ai, sample * 4)


def test_separator() -> None:
    ((row,),) = [param.values for param in published_rows("labels.csv", "separator as trans")]
    assert isinstance(row, Row)
    assert row.expected == "ASCII 29 (GS)"
    assert chr(29) == gs1.SEPARATOR


@pytest.mark.parametrize(
    "row", published_rows("labels.csv", "AI (17)", "two-digit year", "AI date rejected")
)
def test_dates(row: Row) -> None:
    today = date(int(row.inputs.get("today_year", 2025)), 6, 1)
    if row.expected == "error":
        with pytest.raises(gs1.CarrierWrong):
            gs1.date_of(row.inputs["value"], today)
        return
    found = gs1.date_of(row.inputs["value"], today)
    assert found.isoformat() == row.expected
    if not row.inputs["value"].endswith("00"):
        assert gs1.date_value(found, today) == row.inputs["value"]


@pytest.mark.parametrize("row", published_rows("labels.csv", "AI (310n)"))
def test_net_weight(row: Row) -> None:
    found = gs1.net_kilograms(row.inputs["AI"], row.inputs["value"])
    assert Decimal(found) == Decimal(row.expected)


@pytest.mark.parametrize("row", published_rows("labels.csv", "parse element string"))
def test_bracketed(row: Row) -> None:
    found = gs1.parse_bracketed(row.inputs["data"])
    assert gs1.bracketed(list(found.items())) == row.inputs["data"]
    found["17"] = gs1.date_of(found["17"], date(2025, 6, 1)).isoformat()
    assert found == json.loads(row.expected)


@pytest.mark.parametrize("row", published_rows("labels.csv", "build element string"))
def test_element_string(row: Row) -> None:
    pairs = [(ai, value) for ai, value in row.inputs["AIs in this order"]]
    assert gs1.element_string(pairs, row.inputs["separator"]) == row.expected
    assert gs1.SEPARATOR not in gs1.element_string([pairs[0], pairs[2], pairs[1]])


@pytest.mark.parametrize("row", published_rows("labels.csv", "GS1 Digital Link URI"))
def test_digital_link(row: Row) -> None:
    given = row.inputs
    found = gs1.digital_link(given["01"], lot=given.get("10", ""), expires=given.get("17", ""))
    assert found == row.expected


@pytest.mark.parametrize("row", published_rows("labels.csv", "allergen must be named"))
def test_threshold(row: Row) -> None:
    use = row.inputs["product"].replace("-", "_")
    share = Decimal(row.inputs["pct_w_w_in_product"])
    assert must_be_named(share, use) == (row.expected == "true")
    rest = {"1": Fraction(100) - Fraction(share), "2": Fraction(share)}
    stated = {
        "1": Stated("water", "Aqua"),
        "2": Stated("oil", "Oil", allergens=(Part(row.inputs["substance"], Decimal(100)),)),
    }
    declared = declare(rest, stated, use=use)
    assert (row.inputs["substance"] in declared.text) == (row.expected == "true")


@pytest.mark.parametrize("row", published_rows("labels.csv", "allergen content carried"))
def test_through_a_blend(row: Row) -> None:
    told = json.loads(row.expected, parse_float=Decimal)
    share = Fraction(row.number("fragrance_pct_in_product"))
    allergen = Part("Limonene", row.number("allergen_pct_in_fragrance"))
    stated = {"1": Stated("water", "Aqua"), "2": Stated("scent", "Parfum", allergens=(allergen,))}
    use = row.inputs["product"].replace("-", "_")
    (found,) = declare({"1": 100 - share, "2": share}, stated, use=use).allergens
    assert found.percent == Fraction(Decimal(told["pct_in_product"]))
    assert found.named == told["must_label"]


@pytest.mark.parametrize("row", published_rows("labels.csv", "ingredient list order"))
def test_order(row: Row) -> None:
    told, percents = json.loads(row.expected), row.inputs["formula_pct"]
    # The published formula adds up to more than 100; its order is what is asked.
    stated = {name: Stated(name, name) for name in percents}
    declared = declare(
        {name: Fraction(Decimal(str(share))) for name, share in percents.items()},
        stated,
        market=Market.US,
    )
    order = [one.inci_name for one in declared.ingredients]
    assert order == told["fixed"] + told["any_order_next"] + told["last_any_order"]
    groups = {group: [] for group in Group}  # type: dict[Group, list[str]]
    for one in declared.ingredients:
        groups[one.group].append(one.inci_name)
    assert groups[Group.ABOVE] == told["fixed"]
    assert groups[Group.UP_TO] == told["any_order_next"]


@pytest.mark.parametrize("row", published_rows("labels.csv", "rule: reference temperature"))
def test_what_a_label_says_is_judged_at_its_reference_temperature(row: Row) -> None:
    """A density taken there counts before one of warm bulk, which counts for no label."""
    found = re.fullmatch(r"(\d+) F \((\d+) C\)", row.expected)
    assert found is not None
    fahrenheit, celsius = found.groups()
    there = parse_density("1.02 g/mL", f"{fahrenheit} degF")
    assert there.celsius == REFERENCE == Decimal(celsius)
    warm = parse_density("0.98 g/mL", "60 degC")
    assert for_labels(warm, there) == there
    assert for_labels(warm) is None


@pytest.mark.parametrize("row", published_rows("labels.csv", "dual declaration"))
def test_dual_declaration(row: Row) -> None:
    millilitres = row.number("mL")
    assert row.agrees(convert(f"{millilitres:f} mL", "fl oz"))
    stated = Decimal(net_contents(millilitres=millilitres, grams=None).us.split()[0])
    assert stated <= Decimal(row.expected) < stated + Decimal("0.01")


# Each asked by the test above that has it in its list of rows; rules in `test_label_rules.py`.
ASKED = (
    "GS1 mod-10 check digit",
    "GTIN is valid",
    "GTIN-13 stored as GTIN-14",
    "Application Identifier",
    "separator as trans",
    "AI (17)",
    "two-digit year",
    "AI date rejected",
    "AI (310n)",
    "parse element string",
    "build element string",
    "GS1 Digital Link URI",
    "allergen must be named",
    "allergen content carried",
    "ingredient list order",
    "dual declaration",
)


def test_every_row_is_checked_by_one_of_these() -> None:
    rows = [param.values[0] for param in published_rows("labels.csv")]
    others = {row.quantity for row in rows if not row.quantity.startswith(ASKED)}
    assert all(quantity.startswith("rule: ") for quantity in others), others
    assert all(row.source for row in rows)
