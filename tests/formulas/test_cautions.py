"""The cautions: few, each once, at its step, with its reason and whom to ask."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.allowed import Flag, Part
from formulas.cautions import Facts, Step, cautions
from ledger.models.catalogue import CAUTIONS
from tests.factories import D

DAY = date(2025, 5, 6)


def part(name: str, *flags: Flag, percent: str = "1", **facts: Any) -> Part:
    return Part(name, D(percent), frozenset(flags), **facts)


def codes(step: Step, **facts: Any) -> list[str]:
    return [one.code for one in cautions(step, Facts(**facts))]


def test_the_catalogue_knows_the_same_words() -> None:
    assert [flag.value for flag in Flag] == CAUTIONS


WATER = part("Aqua", Flag.WATER, percent="90")


@pytest.mark.parametrize(
    ("step", "facts", "code"),
    [
        (Step.WEIGH, {"parts": [part("Sodium Hydroxide", Flag.LYE)]}, "lye"),
        (Step.WEIGH, {"parts": [part("Talc", Flag.POWDER)]}, "powder"),
        (Step.WEIGH, {"parts": [part("Alcohol", Flag.SOLVENT)]}, "solvent"),
        (Step.WEIGH, {"additions": ["CI 19140"]}, "beyond_formula"),
        (Step.FINISH, {"additions": ["CI 19140"]}, "beyond_formula"),
        (Step.MEASURE, {"celsius": D("60.01")}, "hot"),
        (Step.FINISH, {"celsius": D(72)}, "hot"),
        (Step.FILL, {"celsius": D(72)}, "hot"),
        (Step.FINISH, {"ph_outside": "pH 7 is above 6."}, "ph_outside"),
        (Step.FORMULA, {"parts": [WATER]}, "water_unpreserved"),
        (
            Step.FORMULA,
            {"parts": [part("Phenoxyethanol", Flag.PRESERVATIVE, max_percent=D("0.9"))]},
            "preservative_outside_range",
        ),
        (
            Step.FORMULA,
            {"parts": [part("Phenoxyethanol", Flag.PRESERVATIVE, min_percent=D("1.1"))]},
            "preservative_outside_range",
        ),
        (
            Step.FORMULA,
            {"parts": [part("Parfum", Flag.FRAGRANCE, max_percent=D("0.5"))]},
            "above_certificate",
        ),
        (
            Step.FINISH,
            {"whole": [part("Parfum", Flag.FRAGRANCE, max_percent=D("0.5"))]},
            "above_certificate",
        ),
        (
            Step.FINISH,
            {"whole": [part("Phenoxyethanol", Flag.PRESERVATIVE, min_percent=D("1.1"))]},
            "preservative_as_weighed",
        ),
        (
            Step.WEIGH,
            {"whole": [part("Phenoxyethanol", Flag.PRESERVATIVE, max_percent=D("0.9"))]},
            "preservative_as_weighed",
        ),
        (Step.FINISH, {"whole": [WATER]}, "water_unpreserved"),
        (Step.MEASURE, {"outside": ["Viscosity 9 mPa.s is below."]}, "outside_window"),
        (Step.FINISH, {"outside": ["Viscosity 9 mPa.s is below."]}, "outside_window"),
        (
            Step.PLAN,
            {"parts": [part("Parfum", valid_until=date(2025, 5, 5))], "day": DAY},
            "certificate_expired",
        ),
        (Step.FORMULA, {"parts": [part("Citrus Oil", Flag.ESSENTIAL_OIL)]}, "botanical"),
        (Step.PLAN, {"parts": [part("Almond Oil", Flag.NUT)]}, "allergen_origin"),
        (Step.PLAN, {"undated_lots": ["NB7"]}, "lot_undated"),
        (Step.PRODUCT, {"use": "leave_on"}, "stricter_review"),
        (Step.PRODUCT, {"use": "rinse_off", "areas": ["baby"]}, "stricter_review"),
        (Step.PRODUCT, {"product_name": "Balm that heals"}, "claim"),
        (Step.PRODUCT, {"product_name": "Day cream SPF30"}, "claim"),
        (Step.PRODUCT, {"product_name": "Anti-bacterial wash"}, "claim"),
        (Step.PRODUCT, {"label_function": "Heals small cuts"}, "claim"),
    ],
)
def test_each_is_told_at_its_step(step: Step, facts: dict[str, Any], code: str) -> None:
    (found,) = cautions(step, Facts(**facts))
    assert found.code == code
    assert min(len(found.text), len(found.reason), len(found.ask)) > 10


@pytest.mark.parametrize(
    ("step", "facts"),
    [
        (Step.FORMULA, {"parts": [WATER, part("Phenoxyethanol", Flag.PRESERVATIVE)]}),
        (Step.FORMULA, {"parts": [part("Sodium Hydroxide", Flag.LYE)]}),
        (Step.MEASURE, {"celsius": D(60)}),
        (Step.FILL, {"celsius": D(60)}),
        (Step.FILL, {}),
        (Step.FORMULA, {"parts": [part("Parfum", Flag.FRAGRANCE, max_percent=D(1))]}),
        (Step.PLAN, {"parts": [part("Parfum", valid_until=DAY)], "day": DAY}),
        (Step.PRODUCT, {"use": "rinse_off", "product_name": "Healthy hair wash"}),
        (Step.PRODUCT, {"product_name": "Balm", "label_function": "For dry lips"}),
        (Step.PLAN, {}),
        (Step.FINISH, {}),
    ],
)
def test_and_not_where_it_does_not_belong(step: Step, facts: dict[str, Any]) -> None:
    assert codes(step, **facts) == []


def test_many_ingredients_make_one_caution_that_names_them() -> None:
    parts = [part("Almond Oil", Flag.NUT), part("Milk", Flag.MILK), part("Almond Oil", Flag.NUT)]
    (found,) = cautions(Step.PLAN, Facts(parts=parts))
    assert found.about == ("Almond Oil", "Milk")
    scent = part("Parfum", Flag.FRAGRANCE, max_percent=D("0.50"), category="hand wash")
    (above,) = cautions(Step.FORMULA, Facts(parts=[scent]))
    assert above.about == ("Parfum: 1 %, at most 0.5 % for hand wash",)


PRESERVED = part("Phenoxyethanol", Flag.PRESERVATIVE, min_percent=D("1.1"), max_percent=D(2))


@pytest.mark.parametrize(
    ("step", "facts", "about"),
    [
        (Step.MEASURE, {"celsius": D("72.50")}, ("72.5 degC",)),
        (
            Step.PRODUCT,
            {"product_name": "Anti-bacterial SPF30 wash that Cures, cures!"},
            ("bacterial", "spf30", "cures"),
        ),
        (Step.PRODUCT, {"use": "leave_on", "areas": ["eye", "lip"]}, ("leave-on", "eye", "lip")),
        (Step.PLAN, {"undated_lots": ["NB7", "NB9", "NB7"]}, ("NB7", "NB9")),
        (Step.WEIGH, {"additions": ["CI 19140", "Aqua", "CI 19140"]}, ("CI 19140", "Aqua")),
        (Step.FINISH, {"ph_outside": "pH 7 is above 6."}, ("pH 7 is above 6.",)),
        (Step.FORMULA, {"parts": [PRESERVED, WATER]}, ("Phenoxyethanol",)),
        (
            Step.PRODUCT,
            {
                "parts": [
                    part("Lavender Oil", Flag.ESSENTIAL_OIL, percent="1.20", max_percent=D("1.1")),
                    part("Parfum", Flag.FRAGRANCE),
                    part("Aqua", Flag.NUT, percent="90", max_percent=D(1)),
                ]
            },
            ("Lavender Oil: 1.2 %, at most 1.1 %",),
        ),
    ],
)
def test_each_names_what_it_is_about(
    step: Step, facts: dict[str, Any], about: tuple[str, ...]
) -> None:
    assert cautions(step, Facts(**facts))[0].about == about


@pytest.mark.parametrize("percent", ["1.1", "1.5", "2"])
def test_a_preservative_at_the_ends_of_its_range_is_within_it(percent: str) -> None:
    assert codes(Step.FORMULA, parts=[replace(PRESERVED, percent=D(percent)), WATER]) == []


@given(
    step=st.sampled_from(Step),
    flags=st.lists(st.sets(st.sampled_from(Flag)), max_size=6),
    name=st.text(max_size=40),
    celsius=st.none() | st.decimals("-20", "200", places=2),
    areas=st.lists(st.sampled_from(["eye", "lip", "baby"]), max_size=3),
)
def test_whatever_the_facts_each_is_said_once_and_more_facts_take_no_danger_away(
    step: Step, flags: list[set[Flag]], name: str, celsius: D | None, areas: list[str]
) -> None:
    parts = [Part(f"P{n}", D(1), frozenset(one)) for n, one in enumerate(flags)]
    facts = Facts(parts=parts, product_name=name, celsius=celsius, areas=areas)
    found = [one.code for one in cautions(step, facts)]
    assert len(found) == len(set(found))
    more = Facts(parts=[*parts, part("Soda", Flag.LYE, Flag.NUT, Flag.POWDER)], celsius=celsius)
    told = {one.code for one in cautions(step, more)}
    assert set(found) & {"lye", "powder", "solvent", "allergen_origin", "hot"} <= told


def test_a_preservative_is_told_with_what_is_really_there_and_the_limit_that_it_misses() -> None:
    """120 g in 12,098 g (0.991899 %), with the range of 1 to 1.2 % that its certificate gives."""
    facts: dict[str, Any] = {"min_percent": D(1), "max_percent": D("1.200000")}
    low = part("Guard", Flag.PRESERVATIVE, percent="0.991899", **facts)
    high = replace(low, percent=D("1.250046"))
    (found,) = cautions(Step.FINISH, Facts(whole=[low, high, replace(low, percent=D("1.1"))]))
    assert found.about == ("Guard: 0.9919 %, at least 1 %", "Guard: 1.25 %, at most 1.2 %")
