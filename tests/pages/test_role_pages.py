"""The pages as other roles see them: no link, no file and no button that leads to a refusal."""

import re
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client
from django.test.utils import override_settings

from api import rate
from ledger.models import Membership
from tests.factories import Workshop, open_workshop
from tests.filling import fill, fill_the_rest
from tests.pages.browsing import in_role, shown
from tests.pages.fields import Reader, files_of, read
from tests.pages.looking import ASKED, Seen, all_pages, route_of
from tests.pages.shops import planned_ahead, work
from tests.pages.test_queries import pages_of
from tests.pages.ways import filled_in, ways_of

REFUSAL = re.compile(r"The role '[a-z-]+' may not [^;]+; ask an owner of the maker")


@dataclass(frozen=True)
class Walk:
    """What somebody in a role is shown."""

    client: Client
    pages: list[Seen]
    readers: list[Reader]


@pytest.fixture(scope="module")
def ground(database: Any, redis_server: Any) -> tuple[Workshop, dict[str, str]]:
    shop = open_workshop()
    ids = work(shop, 0)
    planned_ahead(shop, 0)
    fill(shop)
    fill_the_rest(shop)
    return shop, ids


@pytest.fixture(params=["bench", "books", "read-only"], scope="module")
def walk(ground: tuple[Workshop, dict[str, str]], request: Any) -> Any:
    shop, ids = ground
    # A list is of whoever sent it.
    paths = [one for one in pages_of(ids) if not one.startswith("/sent-lists/")]
    client = in_role(shop, Membership.Role(request.param))
    with override_settings(RATE_PER_MINUTE=1_000_000):
        rate.limit.cache_clear()
        pages = list(all_pages(client, of_each=2, also=[*ASKED, *paths]))
        yield Walk(client, pages, [read(one) for one in pages if one.status == 200])
    rate.limit.cache_clear()


def test_every_page_is_shown_or_kindly_refused(walk: Walk) -> None:
    refused = [one for one in walk.pages if one.status != 200]
    assert [(one.path, one.status) for one in refused if one.status != 403] == []
    for one in refused:
        assert REFUSAL.search(shown(walk.client.get(one.path))), one.path
    assert len(walk.readers) >= 100, len(walk.readers)


def test_no_link_or_file_is_refused(walk: Walk) -> None:
    refused = {one.route for one in walk.pages if one.status != 200}
    links = {
        (one.page.partition("?")[0], route_of(link))
        for one in walk.readers
        for link in (*one.links, *one.fetched)
    }
    led = sorted((route_of(page), to) for page, to in links if to in refused)
    assert not led, led
    files = files_of(walk.readers).values()
    assert [one for one in files if walk.client.get(one).status_code != 200] == []


def test_no_button_is_refused(walk: Walk) -> None:
    ways = {way.kind: way for one in walk.readers for form in one.forms for way in ways_of(form)}
    refused, done = [], 0
    for way in ways.values():
        for answer in filled_in(walk.client, way)[1]:
            found = REFUSAL.search(shown(answer))
            refused += [(way.kind[:4], found[0])] if found else []
            done += answer.status_code == 303
    assert not refused, refused
    assert done >= 5, done
