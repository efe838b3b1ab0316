"""A rest is used up and made up while one looks on; then it is weighed, and signed for."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import assert_fits, assert_well_made, go, send


@pytest.fixture
def wash(north: Client) -> dict[str, Any]:
    """A wash whose paste does not suffice, and whose thin grade may stand in for it."""
    paste, grade = (north.material(name) for name in ("Paste", "Thin grade"))
    water = north.material("Water", stocked=False, density="1 g/mL")
    north.receive(paste, "820 g", "4.84")
    north.receive(grade, "5 kg", "11.75")
    stands_in = [{"material": grade, "active_percent": "28"}]
    lines = [
        {"material": water, "balance": True},
        {"material": paste, "percent": "15", "active_percent": "70", "alternates": stands_in},
    ]
    drafted = {"name": "Wash", "rework_max_percent": "5"}
    phases = [{"name": "A", "lines": lines}]
    formula = north.post("formulas", {**drafted, "phases": phases}).made()
    batch = {"formula": formula["id"], "batch": "10 kg", "planned_for": "2025-05-06"}
    return dict(north.post("batches", batch).made())


def test_a_rest_is_made_up_and_signed_for(page: Page, wash: dict[str, Any]) -> None:
    go(page, f"/batches/{wash['id']}")
    page.get_by_role("link", name="make it up").click()
    comes_to = page.locator("#comes-to")
    expect(comes_to).to_contain_text(re.compile(r"instead of 680\s*g"))
    assert_well_made(page)
    page.get_by_label("Used up to the last gram").select_option("")
    expect(comes_to).to_contain_text(re.compile(r"instead of 1,500\s*g"))
    page.get_by_label("Used up to the last gram").select_option(index=0)
    expect(comes_to).to_contain_text(re.compile(r"gives way, from 8,500\s*g"))
    page.get_by_role("button", name="Do it so").click()
    expect(page.locator("h1")).to_have_text("Paste")
    expect(page.locator(".big").first).to_contain_text(re.compile(r"820\s*g"))
    assert_fits(page)
    page.get_by_role("link", name="Rework goes in").click()
    expect(page.locator("main")).to_contain_text(re.compile(r"May still go in\s*500\s*g"))
    assert_fits(page)
    page.get_by_role("link", name="To the bench").click()
    page.get_by_role("link", name="Checks and second looks").click()
    page.get_by_label("Of what").fill("kettle 2, cleaned")
    page.get_by_label("as it should be", exact=True).check()
    page.get_by_role("button", name="I have looked").click()
    expect(page.locator("#checked + .rows")).to_contain_text("kettle 2, cleaned")
    assert_fits(page)


@pytest.mark.parametrize("page", ["desk-plain"], indirect=True)
def test_without_javascript(page: Page, wash: dict[str, Any]) -> None:
    go(page, f"/batches/{wash['id']}")
    page.get_by_role("link", name="make it up").click()
    send(page, "See what it comes to", r"instead of 680\s*g")
    page.get_by_role("button", name="Do it so").click()
    expect(page.locator(".big").first).to_contain_text(re.compile(r"820\s*g"))
    page.get_by_role("link", name="Checks and second looks").click()
    page.get_by_label("as it should be", exact=True).check()
    send(page, "I have looked", "kettle 3, rinsed", {"subject": "kettle 3, rinsed"})
