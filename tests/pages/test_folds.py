"""A fold that hides something wrong, or what was typed beside it, stands open."""

import re

from django.test import Client

from api.pages.folds import unfolded
from tests.factories import Workshop
from tests.pages.shops import work

WRONG = '<ul class="errorlist"><li>no</li></ul>'
FILLED = '<input type="text" name="a" value="1">'
HIDDEN = '<input type="hidden" name="b" value="1">'


def form(*folds: str) -> str:
    each = [f'<details class="work">{one}</details>' for one in folds]
    return f"<form>{''.join(each)}</form>"


def folds_of(page: str) -> list[bool]:
    return [" open" in fold for fold in re.findall("<details[^>]*>", page)]


def test_what_is_wrong_or_filled_in_is_seen() -> None:
    wrong = form(WRONG, "", HIDDEN, FILLED)
    assert folds_of(unfolded(wrong)) == [True, False, False, True]
    # Of another form nothing was refused, and what stands in it was there before.
    assert folds_of(unfolded(form(FILLED) + wrong)) == [False, True, False, False, True]
    assert unfolded(form(FILLED, HIDDEN)) == form(FILLED, HIDDEN)
    inner = f"<details class='work'><details open>{form(WRONG)}</details></details>"
    assert folds_of(unfolded(inner)) == [True, True, True]


def test_how_a_price_ends_is_seen_to_be_wrong(shop: Workshop, client: Client) -> None:
    ids = work(shop, 0)
    asked = "channels=1&channels-0-name=Shop&channels-0-way=margin_percent&channels-0-figure=60"
    path = f"/products/{ids['products']}/price?{asked}&cost_from=present&channels-0-ends_in=0.5"
    answer = client.get(path)
    assert answer.status_code == 422
    page = answer.content.decode()
    fold = page[page.rindex("<details", 0, page.index('class="errorlist')) :]
    assert re.match('<details class="work" open>', fold), fold[:80]
