"""Tables as files: figures stay figures, and no text is ever a formula."""

import csv
import io
from datetime import date
from decimal import Decimal
from typing import Any

import openpyxl
from django.http import QueryDict
from django.test import RequestFactory

from api.pages.tables import MOST_ROWS, Table, asked, file, query_of

ODD = ["=1+1", "+1", "-x", "@sum", "\tA", "plain", "bell\x07", "é"]
TABLE = Table("odd", ["Name", "Figure", "Day", "None"], [])


def rows() -> list[Any]:
    return [[text, Decimal("-1.50"), date(2025, 5, 6), None] for text in ODD]


def test_a_csv_whose_texts_are_texts_and_whose_figures_are_figures() -> None:
    answer = file("csv", Table("odd", TABLE.columns, rows()))
    text = answer.content.decode("utf-8-sig")
    read = list(csv.reader(io.StringIO(text, newline="")))
    assert read[0] == ["Name", "Figure", "Day", "None"]
    assert [row[0][:1] for row in read[1:6]] == ["'"] * 5
    assert [row[0] for row in read[6:]] == ["plain", "bell\x07", "é"]
    assert {tuple(row[1:]) for row in read[1:]} == {("-1.5", "2025-05-06", "")}
    assert answer["Content-Disposition"] == 'attachment; filename="odd.csv"'


def test_a_workbook_whose_texts_are_texts_and_whose_figures_are_figures() -> None:
    answer = file("xlsx", Table("odd", TABLE.columns, rows()))
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    cells: Any = list(book["odd"].iter_rows(min_row=2))
    assert [row[0].data_type for row in cells] == ["s"] * len(ODD)
    assert [row[0].quotePrefix for row in cells[:5]] == [True] * 5
    assert [row[0].value for row in cells] == [text.replace("\x07", "") for text in ODD]
    assert {row[1].value for row in cells} == {-1.5}
    assert {row[2].value.date() for row in cells} == {date(2025, 5, 6)}


def test_a_heading_that_was_typed_is_a_text_as_well() -> None:
    """Such as the names of channels, which an address has, and anybody can send a link."""
    lines = file("csv", Table("odd", ODD, [])).content.decode("utf-8-sig")
    (read,) = csv.reader(io.StringIO(lines, newline=""))
    assert read == [*(f"'{text}" for text in ODD[:5]), *ODD[5:]]
    book = openpyxl.load_workbook(io.BytesIO(file("xlsx", Table("odd", ODD, [])).content))
    (cells,) = book["odd"].iter_rows()
    assert [cell.data_type for cell in cells] == ["s"] * len(ODD)
    assert [cell.value for cell in cells] == [text.replace("\x07", "") for text in ODD]


def test_a_long_table_is_cut_and_says_so() -> None:
    many = ([number] for number in range(MOST_ROWS + 10))
    lines = file("csv", Table("long", ["Number"], many)).content.decode("utf-8-sig").splitlines()
    assert len(lines) == 1 + MOST_ROWS + 1
    assert "ask for less at a time" in lines[-1]


def test_the_links_to_a_file_ask_for_the_same_but_for_the_page() -> None:
    request = RequestFactory().get("/lots?q=oil&after=x&status=hold&as=csv")
    assert asked(request) == "csv"
    assert QueryDict(query_of(request)).dict() == {"q": "oil", "status": "hold", "as": ""}
    assert asked(RequestFactory().get("/lots?as=exe")) == ""
