"""Lists brought in twice: what is there already is said, and keeping it again is asked."""

import io
import re
from typing import Any

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from formulas.models import Formula
from ledger.access import acting_as
from ledger.models import Lot
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, sent, shown, signed_in

LOTS = "material,quantity,value,supplier_lot\nAlmond oil,2 kg,40.00,A-1\n"
FORMULAS = "formula,ingredient,percent\nHand balm,Almond oil,100\n"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    shop = open_workshop()
    shop.material("Almond oil")
    return shop


def test_what_is_wrong_is_a_file_as_well(shop: Workshop) -> None:
    client, here = signed_in(shop), "/import/lots"
    text = f"{LOTS}No such oil,1 kg,2.00,=A-2\n"
    tried = sent(client, here, do="look", file=SimpleUploadedFile("a.csv", text.encode()))
    rows = re.findall(r'name="rows" value="([^"]+)"', tried.content.decode())[0]
    csv, xlsx = (client.post(here, {"as": kind, "rows": rows}) for kind in ("csv", "xlsx"))
    assert 'filename="what-is-wrong.csv"' in csv["Content-Disposition"]
    header, wrong = csv.content.decode("utf-8-sig").splitlines()
    assert header == "Row,Cell,Column,Stands there,What to do"
    assert wrong.startswith("3,A3,material,No such oil,")
    assert [row[:2] for row in of_workbook(xlsx.content)] == [("Row", "Cell"), (3, "A3")]
    assert client.post(here, {"as": "csv", "rows": "none"}).status_code == 400


def of_workbook(content: bytes) -> list[tuple[Any, ...]]:
    """The rows of its sheet."""
    return list(openpyxl.load_workbook(io.BytesIO(content)).worksheets[0].values)


@pytest.mark.parametrize(("path", "text"), [("lots", LOTS), ("formulas", FORMULAS)])
def test_the_same_list_again_is_asked_about(shop: Workshop, path: str, text: str) -> None:
    client, here = signed_in(shop), f"/import/{path}"

    def tried() -> tuple[str, str]:
        """The words of the list that was tried, and what its form would send."""
        answer = sent(client, here, do="look", file=SimpleUploadedFile("a.csv", text.encode()))
        found = re.search(r'name="rows" value="([^"]+)"', answer.content.decode())
        assert found is not None, shown(answer)
        return shown(answer), found[1]

    words, rows = tried()
    assert "There already:" not in words
    done(client, here, do="keep", rows=rows)
    words, rows = tried()
    assert "There already: 1." in words
    refused = sent(client, here, do="keep", rows=rows)
    assert refused.status_code == 422
    assert "Some of it is there already" in shown(refused)
    with acting_as(shop.actor):
        assert (Lot if path == "lots" else Formula).objects.count() == 1
    done(client, here, do="keep", rows=rows, sure="on")
    with acting_as(shop.actor):
        assert (Lot if path == "lots" else Formula).objects.count() == 2
