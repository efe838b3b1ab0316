"""What a page says of a form of which nothing was kept."""

import re
from typing import Any

import pytest
from django.forms import FileField
from django.template import Context, Template
from django.test import Client

from api.pages.forms import PageForm
from api.pages.reader import Reader
from api.pages.unkept import MOST, Unkept
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import sent, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def focused(page: str) -> list[str]:
    """The ids of what has the focus."""
    return [
        id
        for tag in re.findall(r"<[^>]* autofocus[^>]*>", page)
        for id in re.findall(r' id="([^"]+)"', tag)
    ]


def test_few_places_are_named_and_what_has_no_label_once() -> None:
    unkept = Unkept()
    marked = [
        unkept.mark(f"id-{place}", "" if place in {1, 3} else "How much") for place in (0, 1, 2, 3)
    ]
    assert marked == [True, False, False, False]
    assert [id for id, _label in unkept.first] == ["id-0", "id-1", "id-2"]
    for place in range(20):
        unkept.mark(f"more-{place}", "Price")
    assert len(unkept.first) == MOST


def test_every_place_that_is_named_is_there(shop: Workshop) -> None:
    shop.material("Glycerin")
    client = signed_in(shop)
    lines = {"lines": "2", "lines-0-material": "Glycerin", "lines-1-quantity": "4"}
    page = sent(client, "/receive", **lines, freight="much").content.decode()
    named = re.findall(
        'href="#([^"]+)">([^<]+)</a>', page.split('class="unkept"')[1].split("</div>")[0]
    )
    assert ("id_supplier", "From whom") in named
    assert ("id_lines-1-quantity", "Line 2, How much") in named
    assert all(f'id="{id}"' in page for id, _label in named)
    assert focused(page) == ["id_supplier"]
    assert 'class="unkept"' not in client.get("/receive").content.decode()


def test_nothing_takes_the_focus_from_whoever_types(shop: Workshop) -> None:
    typed = {"do": "look", "lines": "1", "lines-0-material": "Glycerin", "lines-0-quantity": "no"}
    answer = signed_in(shop).post("/receive", typed, headers={"HX-Request": "true"})
    assert b"autofocus" not in answer.content
    # A part of a page is judged as it is typed, too.
    looked = signed_in(shop).post("/formulas/new", {"do": "look"}, headers={"HX-Request": "true"})
    assert b"autofocus" not in looked.content


def test_what_the_page_has_no_place_for_is_said_above_it(shop: Workshop) -> None:
    version = shop.formula("Soap", [(shop.material("Soap base"), "100")])
    path = f"/batches/{shop.plan(version, '1 kg').batch.id}"
    page = sent(signed_in(shop), path, do="reopen", reason="once more").content.decode()
    above = page.split('class="unkept"')[1].split("</div>")[0]
    assert " autofocus" in above
    assert "Nothing has ended this batch" in above


def titled(page: str) -> str:
    found: list[str] = re.findall("<title>(.*) · Stillroom</title>", page)
    return found[0]


def test_of_several_to_choose_from_the_first_alone_has_the_focus(shop: Workshop) -> None:
    shop.receive(shop.material("Choosing oil"), "1 kg", "9.00")
    client = signed_in(shop)
    path = re.findall(r"/receipts/[0-9a-f-]{36}", client.get("/receipts").content.decode())[0]
    page = sent(client, path, do="bill", amount="1").content.decode()
    assert focused(page) == ["id_kind_0"]
    assert page.count(" autofocus") == 1


def test_a_question_is_told_as_one(shop: Workshop) -> None:
    shop.receive(shop.material("Asked oil"), "1 kg", "9.00")
    close = {"do": "close", "closed_on": "2025-05-31"}
    page = sent(signed_in(shop), "/settlement", **close).content.decode()
    assert titled(page).startswith("One question: ")
    above = page.split('class="unkept"')[1].split("</div>")[0]
    assert "One question first:" in above
    assert 'href="#id_sure">what is asked</a>' in above
    assert "Nothing was kept" not in page


def test_a_page_that_keeps_nothing_does_not_say_so(client: Client) -> None:
    answer = sent(client, "/sign-in", username="", password="")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert titled(page) == "Look at what is marked: Sign in"
    assert '<strong>Look at what is marked:</strong> <a href="#id_username">User name</a>' in page
    assert "Nothing was kept" not in page


def test_a_file_that_must_be_chosen_again_says_so_at_its_field(shop: Workshop) -> None:
    form = PageForm(data={"file": ""}, reader=Reader())
    form.fields["file"] = FileField(label="Certificate", required=False)
    told = Context({"form": form, "lost": {"file"}, "reader": Reader()})
    written = Template("{% load pages %}{% field form.file %}").render(told)
    (described,) = re.findall('aria-describedby="([^"]+)"', written)
    assert f'<p class="lost" id="{described}">' in written
