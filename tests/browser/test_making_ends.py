"""What ends a batch, and what goes in beside its formula; and what may stand in from then on."""

import re

from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import (
    EVERY_WAY,
    assert_fits,
    assert_well_made,
    go,
    screen_of,
    send,
)


@EVERY_WAY
def test_taken_back_reworked_called_off(page: Page, north: Client) -> None:
    name = f"Neem salve {screen_of(page)}"
    oil = north.material(name)
    lines = [{"material": oil, "percent": "100"}]
    drafted = {"name": f"{name}, made", "rework_max_percent": "5"}
    formula = north.post("formulas", {**drafted, "phases": [{"name": "A", "lines": lines}]}).made()[
        "id"
    ]
    plan = {"formula": formula, "batch": "1 kg", "planned_for": "2025-05-06"}
    first, second = (north.post("batches", plan).made() for _ in range(2))
    lot = north.receive(oil, "3 kg", "90.00")
    path, code = f"/batches/{first['id']}", north.get(f"lots/{lot}").made()["code"]
    go(page, path)
    send(page, "Look again in the store", code)
    weighing = {"line": first["lines"][0]["id"], "lot": lot, "quantity": "1 kg"}
    north.post(f"batches/{first['id']}/weighings", weighing).made()
    done = {"output": "990 g", "release": {"basis": "looks right"}}
    finish = f"batches/{first['id']}/finish"
    north.post(finish, done).made()
    go(page, path)
    send(page, "Take the end back", "To the bench", {"reason": "it was weighed with its pot"})
    made = north.post(finish, {**done, "output": "980 g"}).made()["lot"]
    go(page, f"/lots/{made['id']}/rework")
    assert_fits(page)
    page.get_by_role("link", name=second["code"]).click()
    rework = {"quantity": "20", "approval": "smells and looks right"}
    send(page, "It is in", r"In:\s*20\s*g", rework)
    go(page, f"/batches/{second['id']}/stop")
    assert_fits(page)
    part = {"way": "part", "part": "5", "reason": "it was spilled"}
    send(page, "So be it", "it was spilled", part)
    go(page, f"/batches/{second['id']}/stop")
    send(page, "So be it", "Make it after all", {"way": "off", "reason": "the kettle broke"})


@EVERY_WAY
def test_what_may_stand_in_is_written_down(page: Page, north: Client) -> None:
    name = f"Kelp wash {screen_of(page)}"
    paste, thin = north.material(f"{name} paste"), f"{name} thin grade"
    north.material(thin)
    water = north.material(f"{name} water", stocked=False, density="1 g/mL")
    lines = [{"material": water, "balance": True}, {"material": paste, "percent": "15"}]
    phases = [{"name": "A", "lines": lines}]
    formula = north.post("formulas", {"name": name, "phases": phases}).made()["id"]
    go(page, f"/formulas/{formula}/stand-ins")
    page.get_by_role("link", name=f"{name} paste").click()
    assert_fits(page)
    grades = {"active_percent": "70", "stand_ins-0-name": thin}
    grades["stand_ins-0-active_percent"] = "28"
    send(page, "Keep as the next version", rf"{thin} \(28\s*% active\)", grades)
    page.locator("[name=percent]").fill("7")
    with page.expect_navigation():
        page.get_by_role("button", name="Keep as the next version").click()
    assert north.get(f"formulas/{formula}").made()["version"] == 3


def test_two_products_of_one_still_share_its_cost(page: Page, north: Client) -> None:
    """The split is seen by each base before it is kept, and what was kept opens to it."""
    name = f"Myrtle {screen_of(page)}"
    herb, water = north.material(f"{name} herb"), f"{name} water"
    north.material(water)
    lines = [{"material": herb, "percent": "100"}]
    drafted = {"name": f"{name} oil", "process_loss_percent": "60"}
    formula = north.post("formulas", {**drafted, "phases": [{"name": "A", "lines": lines}]}).made()
    plan = {"formula": formula["id"], "batch": "10 kg", "planned_for": "2025-05-06"}
    batch, lot = north.post("batches", plan).made(), north.receive(herb, "10 kg", "60.00")
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "10 kg"}
    north.post(f"batches/{batch['id']}/weighings", weighing).made()
    go(page, f"/batches/{batch['id']}/finish")
    look, made = "See how the cost is split", {"output": "200 g", "joint": water}
    send(page, look, "How much of it came out", made)
    send(page, look, r"3.00\s*USD[^U]*57.00\s*USD", {"joint_quantity": "3.8 kg"})
    assert_well_made(page)
    fetches = {"joint_base": "sales_value", "joint_main_value": "500", "joint_value": "100"}
    send(page, look, r"50.00\s*USD[^U]*100.00\s*USD[^U]*10.00\s*USD", fetches)
    send(page, "It is done", r"Carried by its other products\s*.10.00\s*USD")
    page.locator("td a[href$='figure=split']").click()
    expect(page.locator(".opened .tree").first).to_contain_text(re.compile(r"500 USD ÷ 600 USD"))
    assert_fits(page)
