"""Every table of a page can be kept as a file, and holds in it what the page shows."""

import csv
import io
import re
from html import unescape
from typing import Any

import openpyxl
import pytest
from django.test import Client

from tests.factories import Workshop, open_workshop
from tests.pages.browsing import signed_in
from tests.pages.looking import SOON, Seen, all_pages
from tests.pages.shops import planned_ahead, work

# What is printed, and has no links.
PAPERS = ("/sheet", "/label")
LINK = re.compile(r'href="(\?[^"]*as=(?:csv|xlsx)[^"]*)"')
BODY = re.compile(r"<tbody>(.*?)</tbody>", re.DOTALL)


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def tables_of(page: Seen) -> list[tuple[int, list[str]]]:
    """How many rows each table shows, and the links that stand beneath it before the next one."""
    parts = page.text.split("<table")[1:]
    bodies = ["".join(BODY.findall(part.partition("</table>")[0])) for part in parts]
    rows = [len(re.findall(r"<tr[ >](?!class=\"phase)", body)) for body in bodies]
    links = [[unescape(one) for one in LINK.findall(part)] for part in parts]
    return list(zip(rows, links, strict=True))


def test_every_table_is_a_file_as_well(shop: Workshop) -> None:
    ids = work(shop, 0)
    planned_ahead(shop, 0)
    client = signed_in(shop)
    ladder = "channels=1&channels-0-name=Shop&channels-0-way=margin_percent&channels-0-figure=60"
    warned = "service_level_percent=95&lead_days=9&per_day=5&spread=2"
    also = [
        f"/products/{ids['products']}/price?{ladder}&cost_from=present",
        f"/what-if?material={ids['materials']}&price=9",
        f"/formulas/{ids['formulas']}?size=5 kg",
        f"/formulas/{ids['formulas']}/versions",
        "/books/variances?first=2025-01-01&last=2025-12-31",
        "/books/sold?first=2025-01-01&last=2025-12-31",
        f"/batches/{ids['batches']}/units",
        f"/order/plan?{SOON}",
        f"/order?material={ids['materials']}",
        f"/materials/{ids['materials']}/low-point?{warned}",
    ]
    found = [
        said
        for page in all_pages(client, of_each=2, also=also)
        for rows, links in tables_of(page)
        if not page.path.endswith(PAPERS)
        for said in lacking(client, page, rows, links)
    ]
    assert not any(found), "\n".join(said for said in found if said)
    assert len(found) >= 50


def lacking(client: Client, page: Seen, rows: int, links: list[str]) -> list[str]:
    """What is wrong with the files of a table that shows so many rows; nothing for each that is
    right."""
    if len(links) < 2:
        return [f"{page.path}: a table has no file"]
    wrong = []
    for link in links[:2]:
        address = page.path.partition("?")[0] + link
        answer = client.get(address)
        kept = []
        if "attachment" in answer.get("Content-Disposition", ""):
            kept = kept_rows(answer.content, xlsx="as=xlsx" in link)
        right = len(kept) >= rows and len({len(row) for row in kept}) <= 1
        wrong.append("" if right else f"{address}: {len(kept)} of {rows} rows")
    return wrong


def kept_rows(content: bytes, *, xlsx: bool) -> list[Any]:
    """The rows of a file beneath their columns."""
    if xlsx:
        (sheet,) = openpyxl.load_workbook(io.BytesIO(content)).worksheets
        return list(sheet.iter_rows(min_row=2, values_only=True))
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))[1:]
