"""Lists brought in twice: what is there already is said, and keeping it again is asked."""

import io
from typing import Any

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

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


def tried(client: Client, kind: str, text: str, name: str = "a.csv") -> str:
    """The page of a list that was sent and tried."""
    file = SimpleUploadedFile(name, text.encode())
    answer = sent(client, f"/import/{kind}", do="look", file=file)
    assert answer.status_code == 303, shown(answer)
    return str(answer["Location"])


def test_what_is_wrong_is_a_file_as_well(shop: Workshop) -> None:
    client = signed_in(shop)
    here = tried(client, "lots", f"{LOTS}No such oil,1 kg,2.00,=A-2\n")
    csv, xlsx = (client.get(here, {"as": kind}) for kind in ("csv", "xlsx"))
    assert 'filename="what-is-wrong.csv"' in csv["Content-Disposition"]
    header, wrong, reckoned = csv.content.decode("utf-8-sig").splitlines()
    assert header == "Row,Cell,Column,Stands there,What to do"
    assert wrong.startswith("3,A3,material,No such oil,")
    assert reckoned.startswith("3,D3,supplier_lot,'=A-2,A formula stands in this cell")
    assert [row[1] for row in of_workbook(xlsx.content)] == ["Cell", "A3", "D3"]
    assert "Another try" in shown(client.get(here))


def of_workbook(content: bytes) -> list[tuple[Any, ...]]:
    """The rows of its sheet."""
    return list(openpyxl.load_workbook(io.BytesIO(content)).worksheets[0].values)


@pytest.mark.parametrize(("path", "text"), [("lots", LOTS), ("formulas", FORMULAS)])
def test_the_same_list_again_is_asked_about(shop: Workshop, path: str, text: str) -> None:
    client, made = signed_in(shop), Lot if path == "lots" else Formula
    here = tried(client, path, text)
    assert "There already:" not in shown(client.get(here))
    assert "All of it is taken in" in done(client, here, do="take")
    assert "All of it is taken in" in done(client, here, do="take")
    here = tried(client, path, text)
    assert "There already: 1." in shown(client.get(here))
    answer = sent(client, here, do="take")
    assert answer.status_code == 422
    assert "Some of it is there already" in shown(answer)
    with acting_as(shop.actor):
        assert made.objects.count() == 1
    done(client, here, do="take", sure="on")
    with acting_as(shop.actor):
        assert made.objects.count() == 2


def test_a_list_of_the_same_name_is_the_one_that_was_put_right(shop: Workshop) -> None:
    """However often it is tried, it is one list; one that was taken in stays, and another name."""
    client = signed_in(shop)
    other = tried(client, "lots", f"{LOTS}Almond oil,1 kg,2.00,N-0\n", "other.csv")
    for n in range(1, 13):
        here = tried(client, "lots", f"{LOTS}Almond oil,1 kg,2.00,N-{n}\n", "mine.csv")
    assert shown(client.get("/import")).count("mine.csv") == 1
    done(client, here, do="take", sure="on")
    tried(client, "lots", f"{LOTS}Almond oil,1 kg,2.00,N-99\n", "mine.csv")
    assert shown(client.get("/import")).count("mine.csv") == 2
    assert client.get(other).status_code == 200
    wrong = tried(client, "lots", f"{LOTS}Nothing,1 kg,2.00,N-99\n", "theirs.csv")
    tried(client, "lots", f"{LOTS}Almond oil,1 kg,2.00,N-98\n", "theirs.csv")
    assert shown(client.get("/import")).count("theirs.csv") == 1
    assert client.get(wrong).status_code == 200, "whoever goes back finds it"


def test_the_page_of_a_list_says_that_it_is_brought_in(shop: Workshop) -> None:
    page = shown(signed_in(shop).get("/import/formulas"))
    assert "Bring in Formulas One row is one ingredient" in page
