"""An order by hand, mailed, corrected and ended; and a bill that comes after its goods."""

from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import EVERY_WAY, assert_fits, go, print_it, screen_of, send

pytestmark = EVERY_WAY


def test_an_order_is_written_mailed_corrected_ended(page: Page, north: Client) -> None:
    screen = screen_of(page)
    name, seller = f"Oat flour {screen}", f"Field and Mill {screen}"
    north.material(name)
    go(page, "/suppliers")
    assert_fits(page)
    send(page, "Add it", seller, {"name": seller, "contact_name": "Ada"})
    mail = f"orders{screen}@mill.example"
    send(page, "Keep this", mail, {"mail": mail})
    page.get_by_role("link", name="Order from them").click()
    assert page.get_by_label("From whom").input_value() == seller
    assert_fits(page)
    line = {"lines-0-material": name, "lines-0-pack": "5 kg", "lines-0-price": "80"}
    send(page, "Write it", r"80\.00\s*USD", line)
    print_it(page, "Print it", name)
    send(page, "Mail it", "mailed already", {"note": "by the back door"})
    (written,) = north.listed("orders", supplier=north_supplier(north, seller))
    of = {"line": written["lines"][0]["id"]}
    right = {**of, "price": "76", "reason": "as they said on the phone"}
    send(page, "Correct it", "corrected: as they said", right)
    send(page, "Expect no more", "not expected", {**of, "reason": "sold out"})


def north_supplier(north: Client, name: str) -> str:
    """The id of a supplier by its name."""
    return next(str(one["id"]) for one in north.listed("suppliers") if one["name"] == name)


def test_a_bill_comes_later_and_is_taken_back(page: Page, north: Client) -> None:
    """A freight of 10.00 on 2 kg of which half was sold: half of it falls on what is left."""
    butter = north.material(f"Sal butter {screen_of(page)}")
    line = {"material": butter, "quantity": "2 kg", "price": "40.00", "supplier_lot": "SB-1"}
    came = {"supplier": north.supplier(), "lines": [line], "release": {"basis": "seen"}}
    receipt = north.post("receipts", came).made()
    sold = [{"lot": receipt["lines"][0]["lot"]["id"], "quantity": "1 kg"}]
    north.post("sales", {"customer": "A shop", "lines": sold}).made()
    go(page, "/receipts")
    assert_fits(page)
    page.locator(f"main a[href='/receipts/{receipt['id']}']").click()
    bill = {"kind": "freight", "amount": "10", "spread_by": "mass", "reference": "F 7"}
    send(page, "Book it", r"On what is left\s*5\.00\s*USD", bill)
    page.get_by_text("It was booked wrongly").click()
    page.get_by_label("What was wrong").first.fill("not ours")
    page.get_by_role("button", name="Take it back").first.click()
    expect(page.locator("main .tag").first).to_contain_text("taken back")
