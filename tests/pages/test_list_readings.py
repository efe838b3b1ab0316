"""Lists as spreadsheets write them: figures, days and headings, and every fault at once."""

import re
from datetime import date
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from api.list_cells import Signs, read_cell
from api.list_columns import Reads
from api.sheet_files import Cell
from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.models import Holding, Lot, OfferPrice
from tests.api.files import pdf, png
from tests.api.sheet_files import xlsx
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, sent, shown, signed_in

LOTS = "material;quantity;value;supplier_lot;expires_on\n"
PRICES = "supplier;material;pack;price;valid_from\n"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    shop = open_workshop()
    shop.material("Almond oil")
    shop.does(add_supplier, name="Oils by the drum")
    return shop


def answered(client: Client, kind: str, content: str | bytes, name: str = "a.csv") -> Any:
    content = content if isinstance(content, bytes) else content.encode()
    file = SimpleUploadedFile(name, content)
    return sent(client, f"/import/{kind}", do="look", file=file)


def tried(client: Client, kind: str, content: str | bytes, name: str = "a.csv") -> str:
    """The words of the page of a list that was tried."""
    answer = answered(client, kind, content, name)
    assert answer.status_code == 303, shown(answer)
    return shown(client.get(answer["Location"]))


def refused(client: Client, kind: str, content: str | bytes, name: str = "a.csv") -> str:
    answer = answered(client, kind, content, name)
    assert answer.status_code == 422
    return shown(answer)


def test_a_german_spreadsheet_is_read_as_it_was_meant(shop: Workshop) -> None:
    client = signed_in(shop)
    text = f"{LOTS}Almond oil;12,5 kg;1.234,50;DE-1;01.12.2099\n"
    answer = answered(client, "lots", text)
    page = shown(client.get(answer["Location"]))
    assert "A comma in a number was read as its decimal sign" in page
    done(client, answer["Location"], do="take")
    with acting_as(shop.actor):
        lot = Lot.objects.get(supplier_lot="DE-1")
        assert str(lot.expires_on) == "2099-12-01"
        kept = Holding.objects.get(lot=lot, kind="store")
        assert (kept.quantity, kept.value) == (D(12_500), D("1234.50"))


@pytest.mark.parametrize(
    ("signs", "parted", "text", "read"),
    [
        ((".", ","), ";", "12,50", "12.50"),
        ((".", ","), ";", "1,234.5", "1234.5"),
        ((".", ","), ";", "1.234,5", "1234.5"),
        ((".", ","), ";", "12.50", "12.50"),
        ((".", ","), ",", "12,50", "12,50"),
        ((".", ","), ",", "2.500", "2.500"),
        ((",", "."), ",", "2,500", "2.500"),
        ((",", "\u202f"), ";", "1 234,5", "1234.5"),
        ((",", "\u202f"), ";", "1,250", "1.250"),
        ((",", "\u202f"), "\t", "1.234,5 kg", "1234.5 kg"),
    ],
)
def test_figures_are_read_in_the_hand_of_the_reader_and_of_the_file(
    signs: tuple[str, str], parted: str, text: str, read: str
) -> None:
    ways = Signs(*signs).ways(parted)
    cell = read_cell(Cell(text), "price", Reads.FIGURES, ways, date(2026, 1, 31))
    assert (cell.text, cell.wrong) == (read, "")
    exact = Cell("2.500", exact=True)
    assert read_cell(exact, "price", Reads.FIGURES, ways, date(2026, 1, 31)) == exact
    assert read_cell(Cell(text), "note", Reads.WORDS, ways, date(2026, 1, 31)).text == text


def test_what_can_be_meant_in_two_ways_is_asked(shop: Workshop) -> None:
    client = signed_in(shop)
    page = tried(
        client,
        "lots",
        f"{LOTS}Almond oil;1,250 kg;2.500;X-1;01/12/2099\nAlmond oil;1 kg;1;X-2;01.12.99\n",
    )
    assert "1,250 can be read in two ways: write 1250 or 1.25" in page
    assert "2.500 can be read in two ways: write 2500 or 2,5" in page
    assert "With slashes this is two days" in page
    assert "Write the year with four digits" in page
    assert "Cells that are wrong: 4" in page


def test_a_list_parted_by_commas_keeps_its_points(shop: Workshop) -> None:
    client = signed_in(shop)
    header = LOTS.replace(";", ",")
    page = tried(client, "lots", f'{header}Almond oil,"1,5 kg",2.505,X-1,\n')
    assert "decimal point and no commas" in page
    assert "can be read in two ways" not in page
    assert "A point in a number was read as its decimal sign" in page


def test_a_reader_who_writes_commas_is_read_so(shop: Workshop) -> None:
    client = signed_in(shop)
    header = LOTS.replace(";", ",")

    def found(name: str, content: bytes) -> str:
        """The page of a list of somebody whose browser is German."""
        form = {"do": "look", "file": SimpleUploadedFile(name, content)}
        answer = client.post("/import/lots", form, headers={"Accept-Language": "de"})
        assert answer.status_code == 303, shown(answer)
        return str(answer["Location"])

    here = found("a.csv", f'{header}Almond oil,"1,5 kg","2,50",DE-3,\n'.encode())
    done(client, here, do="take")
    with acting_as(shop.actor):
        kept = Holding.objects.get(lot__supplier_lot="DE-3", kind="store")
        assert (kept.quantity, kept.value) == (D(1500), D("2.50"))
    columns = ("material", "quantity", "value", "supplier_lot")
    page = shown(client.get(found("a.xlsx", xlsx(columns, ("Almond oil", "2,5 kg", 1.125, 4)))))
    # What a workbook has as a number is read as that number: only money is never so fine.
    assert "can be read in two ways" not in page
    assert "1.125" in page


def test_every_fault_of_a_list_is_told_at_once(shop: Workshop) -> None:
    client = signed_in(shop)
    text = (
        "Supplier;material;pack;Colour;price;price\n"
        "Nobody;Nothing;5 oz;red;4,00;\n"
        "Oils by the drum;Almond oil;5 kg;red;x;;too;much\n"
    )
    page = tried(client, "prices", text)
    for told in (
        "1 Colour D1 Colour There is no such column",
        "1 price E1 price This column stands twice",
        "1 valid_from This column is missing",
        "2 supplier A2 Nobody There is no supplier of this name",
        "2 material B2 Nothing There is no material of this name",
        '2 pack C2 5 oz "oz" may mean',
        "3 price E3 x Write digits",
        "3 too much This row has more cells than there are columns",
    ):
        assert told in page, (told, page)
    assert "Cells that are wrong: 8" in page


def test_of_a_formula_every_unknown_name_is_told_though_a_figure_is_wrong(shop: Workshop) -> None:
    text = (
        "formula,ingredient,percent\n"
        "Rub,Nothing,50\nRub,Nobody,much\nRub,Almond oil,20\n"
        "Kit,Rub,50\nKit,No such wax,50\n"
    )
    page = tried(signed_in(shop), "formulas", text)
    for told in ("'Nothing'", "'Nobody'", "'No such wax'", "C3 much"):
        assert told in page, (told, page)
    assert "Nothing is called 'Rub'" not in page
    assert "Nothing is called 'Almond oil'" not in page
    assert "Cells that are wrong: 4" in page


@pytest.mark.parametrize("above", ["", "Stock of spring\n\n", "Stock of spring,,,\n,,,\n"])
def test_headings_are_known_however_they_are_written(shop: Workshop, above: str) -> None:
    text = f"{above}Material, QUANTITY ,Value,Supplier Lot,Expires-On\nAlmond oil,1 kg,1,H-1,\n"
    page = tried(signed_in(shop), "lots", text)
    assert "All rows can be read." in page
    row = above.count("\n") + 1
    assert (f"The headings stand in row {row}" in page) == (row > 1)


def test_a_row_is_counted_as_the_file_counts_it(shop: Workshop) -> None:
    text = f"Stock of spring\n\n{LOTS}\nNo such oil;1 kg;1;H-1;\n"
    assert "5 material A5 No such oil" in tried(signed_in(shop), "lots", text)


@pytest.mark.parametrize(
    ("content", "name", "told"),
    [
        (b"", "a.csv", "empty"),
        (b" \n\n", "a.csv", "This file is empty"),
        (pdf(), "a.pdf", "This is a PDF"),
        (png(), "a.csv", "This is a picture"),
        (b"no list at all", "a.xlsx", "This is called a workbook and is plain text"),
        (b"no list at all", "a.csv", "None of the first 10 rows names the columns"),
        (b"PK\x03\x04 no more", "a.xlsx", "This workbook is damaged"),
        (xlsx(("material",), ("a",), sheets=2), "a.xlsx", "This workbook has 2 sheets (Sheet, "),
        (f"{LOTS}".encode(), "a.csv", "There is no row below the headings in row 1"),
        (f'{LOTS}"a;1;1;1;1\n'.encode(), "a.csv", "The CSV cannot be read"),
        (f'{LOTS}{LOTS}{LOTS}{LOTS}"a;1'.encode(), "a.csv", "The CSV cannot be read"),
        (f'{LOTS * 12}"a;1'.encode(), "a.csv", "The CSV cannot be read"),
    ],
)
def test_a_file_that_is_no_list_says_what_it_is(
    shop: Workshop, content: bytes, name: str, told: str
) -> None:
    assert told in refused(signed_in(shop), "lots", content, name)


def test_a_csv_that_is_called_a_workbook_is_read(shop: Workshop) -> None:
    text = f"{LOTS}Almond oil;1 kg;1;C-1;\n"
    assert "All rows can be read." in tried(signed_in(shop), "lots", text, "a.xlsx")


def test_one_lot_twice_in_a_list_is_asked_about(shop: Workshop) -> None:
    client = signed_in(shop)
    row = "Almond oil;1 kg;1;T-1;\n"
    answer = answered(client, "lots", f"{LOTS}{row}Almond oil;1 kg;1;T-2;\n{row}{row}")
    here = answer["Location"]
    page = shown(client.get(here))
    assert "Twice in the list: 2." in page
    assert "Row 4 is as row 2" in page
    assert "Row 5 is as row 2" in page
    assert "There already" not in page
    assert sent(client, here, do="take").status_code == 422
    done(client, here, do="take", sure="on")
    with acting_as(shop.actor):
        assert Lot.objects.filter(supplier_lot="T-1").count() == 3


def test_a_price_of_another_century_is_refused_as_its_form_refuses_it(shop: Workshop) -> None:
    rows = "".join(
        f"Oils by the drum;Almond oil;{n} kg;4;{day}\n"
        for n, day in enumerate(("1999-01-01", "2199-01-01", "01.12.1999", "2026-01-31"), start=1)
    )
    page = tried(signed_in(shop), "prices", f"{PRICES}{rows}")
    assert len(re.findall("The year (?:1999|2199) is too far away", page)) == 3
    assert "E2 1999-01-01" in page
    assert "E4 01.12.1999" in page
    assert "Cells that are wrong: 3" in page
    assert shop.does(lambda _: OfferPrice.objects.count()) == 0


def test_each_column_says_what_it_means(shop: Workshop) -> None:
    client = signed_in(shop)
    for kind, told in (
        ("prices", "rate For another currency: what one of it is worth in the co-op's own."),
        ("lots", "released_because Why it may be used already"),
        ("formulas", "most_percent Where it goes in until it does its work"),
    ):
        assert told in shown(client.get(f"/import/{kind}"))
    assert "needed" in shown(client.get("/import/lots"))
