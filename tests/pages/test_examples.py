"""The examples of lists that are given out can be read as they are."""

import pytest

from api.list_kinds import KINDS
from api.sheet_files import read_sheet
from api.sheet_writing import csv_of


@pytest.mark.parametrize("name", KINDS)
def test_an_example_fits_its_columns(name: str) -> None:
    kind = KINDS[name]
    assert {len(row) for row in kind.example} == {len(kind.columns)}
    content = csv_of(kind.columns, kind.example)
    rows = read_sheet(content, known=kind.known, required=kind.required)
    told = [[row.cells[column].text for column in kind.columns] for row in rows]
    assert told == [list(row) for row in kind.example]
