"""Receiving: what cannot be read says why at once, and nothing half read makes a figure."""

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile

from api.pages.packs import SeveralField
from api.pages.reader import Reader
from formulas.undoing import undo
from ledger.models import Membership
from ledger.receiving import deliveries_of
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in

LINE = {"lines": "1", "lines-0-material": "Glycerin", "lines-0-quantity": "16 kg"}


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    shop = open_workshop()
    shop.material("Glycerin")
    return shop


def looked(client: Any, **typed: str) -> str:
    """What the panel says while it is typed."""
    answer = client.post(
        "/receive", {**LINE, **typed, "do": "look"}, headers={"HX-Request": "true"}
    )
    assert answer.status_code == 200
    return shown(answer)


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("lines-0-price", "$186", "Price of this line: "),
        ("lines-0-price", "186.005", "Price of this line: "),
        ("freight", "12,50", "Freight: "),
        ("lines-0-quantity", "abc", "How much: "),
        ("lines-0-quantity", "1,5 kg", "How much: "),
        ("lines-0-quantity", "4", "How much: "),
        ("lines-0-quantity", "1,500 kg", "write 1500 or 1.5"),
        ("lines-0-density", "heavy", "Density of this lot: "),
    ],
)
def test_what_cannot_be_read_says_why_and_costs_nothing(
    shop: Workshop, field: str, typed: str, words: str
) -> None:
    told = looked(signed_in(shop), **{"lines-0-price": "186.00", field: typed})
    assert words in told
    assert not re.search("[0-9] USD", told)


def test_money_waits_for_every_line(shop: Workshop) -> None:
    client = signed_in(shop)
    two = {"lines": "2", "lines-1-material": "Glycerin", "freight": "8.00"}
    assert "16 kg" in looked(client)
    assert "USD" not in looked(client, freight="8.00")
    half = looked(client, **two, **{"lines-0-price": "186.00", "lines-1-price": "10.00"})
    assert "16 kg" in half
    assert "USD" not in half
    whole = {"lines-0-price": "186.00", "lines-1-price": "10.00", "lines-1-quantity": "1 kg"}
    assert "In all 204.00 USD" in looked(client, **two, **whole)


def test_each_line_says_beneath_its_quantity_what_it_is_and_costs(shop: Workshop) -> None:
    shop.material("Jojoba", density="0.9 g/mL")
    two = {"lines": "2", "lines-1-material": "Jojoba", "lines-1-quantity": "10 L"}
    prices = {
        "lines-0-price": "186.00",
        "lines-1-price": "90.00",
        "freight": "8.00",
        "duty": "2.50",
    }
    answer = signed_in(shop).post(
        "/receive", {**LINE, **two, **prices, "do": "look"}, headers={"HX-Request": "true"}
    )
    # 9 of 25 kg, and the freight and the duty by that.
    first, second = answer.content.decode().split('id="comes-lines-1" hx-swap-oob="innerHTML"')
    second = re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", unescape(second)))
    assert "9 kg = 10 L \N{MULTIPLICATION SIGN} 0.9 g/mL, the material's density" in second
    whole = "Goods 90.00 USD + freight 2.88 USD + duty 0.90 USD = 93.78 USD on the shelf"
    assert whole in second
    assert 'id="comes-lines-0" hx-swap-oob="innerHTML"' in first
    # The same without a script.
    plain = shown(signed_in(shop).post("/receive", {**LINE, **two, **prices, "do": "look"}))
    assert whole in plain


@pytest.mark.parametrize(
    ("typed", "grams"),
    [("2 x 5 kg", 10000), ("3x2.5kg", 7500), ("12 \N{MULTIPLICATION SIGN} 0.5 lb", "2721.55422")],
)
def test_packs_of_one_size_are_one_quantity(typed: str, grams: int | str) -> None:
    found = SeveralField().clean(typed)
    assert found.amount == D(str(grams))
    assert "x" not in found.entered.lower()


@pytest.mark.parametrize("typed", ["2 x kg", "x 5 kg", "2 x 5", "2 x 2 x 5 kg", "0 x 5 kg"])
def test_what_is_no_number_of_packs_is_refused(typed: str) -> None:
    with pytest.raises(ValidationError):
        SeveralField().clean(typed)


def test_all_that_is_unknown_is_said_at_once_and_leads_on(shop: Workshop) -> None:
    client = signed_in(shop)
    lines = {"lines": "2", "lines-0-quantity": "1 kg", "lines-1-quantity": "1 kg"}
    lines |= {"lines-0-material": "Moon & dust", "lines-1-material": "Star dust"}
    told = refused(client, "/receive", supplier="Nobody", **lines)
    assert "No supplier is called 'Nobody'" in told
    assert "No material is called Moon & dust" in told
    assert "No material is called Star dust" in told
    assert "What does it cost?" in told
    page = sent(client, "/receive", supplier="Nobody", **lines).content.decode()
    assert 'href="/materials/new?q=Moon+%26+dust" target="_blank"' in page
    named = client.get("/materials/new?q=Moon+%26+dust").content.decode()
    assert 'value="Moon &amp; dust"' in named
    assert "No supplier" not in refused(
        client, "/receive", supplier="New", new_supplier="on", **lines
    )


def test_a_file_that_was_chosen_is_asked_for_again(shop: Workshop) -> None:
    client, again = signed_in(shop), "Choose the file again"
    for do in ("", "look"):
        file = SimpleUploadedFile("CoA.pdf", b"%PDF-1.4", "application/pdf")
        assert again in shown(sent(client, "/receive", **LINE, certificate=file, do=do))
    assert again not in shown(sent(client, "/receive", **LINE))


def test_a_refused_delivery_keeps_what_it_comes_to(shop: Workshop) -> None:
    answer = sent(signed_in(shop), "/receive", **LINE, **{"lines-0-price": "80.00"})
    told = shown(answer)
    assert answer.status_code == 422
    assert "5.0000 USD a kilogram" in told
    assert "Which lot of theirs is it?" in told
    assert "Who sent it?" in told
    assert "Fill this in" not in told


def test_what_came_years_ago_is_asked_once(shop: Workshop) -> None:
    client = signed_in(shop)
    typed = {**LINE, "lines-0-price": "80.00", "lines-0-supplier_lot": "G-1"}
    typed |= {"supplier": "Mill Supplies", "new_supplier": "on"}
    recent = f"{datetime.now(UTC) - timedelta(days=300):%Y-%m-%dT%H:%M}"
    assert "From Mill Supplies" in done(client, "/receive", happened_at=recent, **typed)
    old = {**typed, "happened_at": "1999-01-01T09:00"}
    assert "It came on 1 Jan 1999" in refused(client, "/receive", **old)
    assert "1 Jan 1999" in done(client, "/receive", sure="on", **old)


def test_a_tax_is_shared_out_by_price_and_freight_by_weight(shop: Workshop) -> None:
    """Freight of 9 by 1 kg and 2 kg is 3 and 6; a tax of 6 by 80 and 40 is 4 and 2: 87 and 48."""
    shop.material("Wax")
    second = {name.replace("-0-", "-1-"): text for name, text in LINE.items() if "-0-" in name}
    typed = {**LINE, **second, "lines": "2", "supplier": "Mill Supplies", "new_supplier": "on"}
    typed |= {"lines-1-material": "Wax", "freight": "9", "tax": "6", "spread_by": "mass"}
    for row, (size, price) in enumerate((("1 kg", "80"), ("2 kg", "40"))):
        typed |= {f"lines-{row}-quantity": size, f"lines-{row}-price": price}
        typed |= {f"lines-{row}-supplier_lot": "G-1", f"lines-{row}-density": ""}
    told = done(signed_in(shop), "/receive", **typed).replace("\xa0", " ")
    assert "87.00 USD on the shelf" in told
    assert "48.00 USD on the shelf" in told
    assert "tax that does not come back 6.00 USD · shared out by price" in told


def test_a_density_far_from_the_usual_is_asked_once(shop: Workshop) -> None:
    """A slip of the point makes ten times as much of a gallon."""
    shop.material("Syrup", density="1.26 g/mL")
    client = signed_in(shop)
    typed = {"supplier": "Mill Supplies", "new_supplier": "on", "lines-0-material": "Syrup"}
    typed |= {"lines-0-quantity": "1 L", "lines-0-price": "9", "lines-0-supplier_lot": "S-1"}
    odd = {**LINE, **typed, "lines-0-density": "12.6 g/mL"}
    told = "A millilitre of this Syrup weighs 12.6 g, and otherwise 1.26 g?"
    assert told in refused(client, "/receive", **odd)
    assert "12.6 kg" in done(client, "/receive", sure="on", **odd).replace("\xa0", " ")
    del typed["new_supplier"]
    near = {**LINE, **typed, "lines-0-density": "1.2 g/mL"}
    assert "1.2 kg" in done(client, "/receive", **near).replace("\xa0", " ")


def test_a_note_that_came_before_is_asked_once(shop: Workshop) -> None:
    """Not one of another supplier, nor one that was taken back, nor one without a note."""
    client = signed_in(shop)
    typed = {**LINE, "lines-0-price": "80.00", "lines-0-supplier_lot": "G-1", "supplier": "Mill"}
    first = typed | {"new_supplier": "on", "reference": "DN 7"}
    other = first | {"supplier": "Quay", "reference": "dn 7"}
    for came in (first, other, typed, typed):
        assert "came on" not in done(client, "/receive", **came)
    again = typed | {"reference": "dn 7"}
    assert "A delivery with this note came on" in refused(client, "/receive", **again)
    assert "dn 7" in done(client, "/receive", sure="on", **again)
    for receipt in shop.does(lambda actor: list(deliveries_of(actor))):
        if (receipt.supplier.name, receipt.reference.lower()) == ("Mill", "dn 7"):
            facts = {"entry": receipt.entry_id, "happened_at": datetime.now(UTC)}
            shop.does(undo, reason="written twice", **facts)
    assert "dn 7" in done(client, "/receive", **again)


def test_who_may_not_receive_types_nothing_in_vain(shop: Workshop) -> None:
    answer = in_role(shop, Membership.Role.READ_ONLY).get("/receive")
    assert answer.status_code == 403
    assert "may not receive deliveries" in shown(answer)


def test_a_small_part_of_a_coin_keeps_three_digits() -> None:
    reader = Reader(currency="USD")
    costs = ["11.26", "0.0778", "0.003125", "0.00003125", "0"]
    told = [reader.unit_cost(D(cost)).split("\N{NO-BREAK SPACE}")[0] for cost in costs]
    assert told == ["11.2600", "0.0778", "0.00312", "0.0000312", "0.0000"]


def test_a_day_within_a_sentence_is_written_as_all_days_are() -> None:
    told = Reader().dated("By lot NB34, which may be used until 2027-10-14.")
    assert told == "By lot NB34, which may be used until 14 Oct 2027."
    assert Reader().dated("note 2027-02-30, 12027-10-14") == "note 2027-02-30, 12027-10-14"
