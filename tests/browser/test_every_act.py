"""Every act that a page offers was done by the tests of this directory, to its result.

What a page is for, on either screen, and where no script runs; what else it can do, on one of them,
since the page itself is looked at on both. The pages and their acts are the application's own, so
that whoever adds one is told what nobody has walked yet.
"""

import ast
import inspect
import re
import textwrap
from pathlib import Path
from typing import Any, Final

import pytest

from api.pages.acts import Acts
from api.pages.screen import Screen
from api.pages.urls import urlpatterns
from tests.browser.doing import DONE, Deed
from tests.browser.visiting import SIZES

# What shows the form again, with another row or what it comes to, and keeps nothing.
SHOWING: Final = {"look", "more"}
# What is walked without being seen to be.
UNSEEN: Final = {
    ("/", "buy"): "the same form stands on the page of its round, where it is sent",
    ("/", "leave"): "likewise",
    ("/lots/<uuid:id>", "keep"): "of a form that is sent with a file a browser tells nothing",
}
# What a maker does on most days, which is done on both screens without a script as well.
DAILY: Final = {
    "/",
    "/receive",
    "/lots/<uuid:id>",
    "/batches/new",
    "/batches/<uuid:id>/bench",
    "/batches/<uuid:id>/finish",
    "/batches/<uuid:id>/fill",
    "/fills/<uuid:id>",
    "/formulas/new",
    "/order/plan",
    "/shares/<uuid:id>",
    "/import/lots",
    "/sent-lists/<uuid:id>",
}


def takes_forms() -> dict[str, type[Screen]]:
    """The pages to which a form can be sent, by their addresses."""
    pages: dict[str, type[Screen]] = {
        f"/{one.pattern}": one.callback.view_class  # type: ignore[attr-defined]
        for one in urlpatterns
    }
    return {
        route: page
        for route, page in pages.items()
        if hasattr(page, "post") or '"POST"' in inspect.getsource(page)
    }


def named_acts(page: type[Screen]) -> set[str]:
    """What a page tells apart by what its button says to do."""
    if issubclass(page, Acts):
        return set(page.forms)
    own = page.__mro__[: page.__mro__.index(Screen)]
    trees = [ast.parse(textwrap.dedent(inspect.getsource(one))) for one in own]
    return {name for tree in trees for node in ast.walk(tree) for name in names_in(node)} - SHOWING


def names_in(node: ast.AST) -> set[str]:
    """The acts that are named in a comparison, a case, or a table of acts."""
    if isinstance(node, ast.Compare) and re.search(r"\bdo\b", ast.unparse(node.left)):
        return texts(node.comparators)
    if isinstance(node, ast.MatchValue):
        return texts([node.value])
    if isinstance(node, ast.FunctionDef) and node.name.strip("_") == "acts":
        tables = [one for one in ast.walk(node) if isinstance(one, ast.Dict)]
        return texts([key for table in tables for key in table.keys])
    return set()


def is_its_own(deed: Deed, page: type[Screen]) -> bool:
    """Whether it is what the page is for: what it does if no other act is named."""
    all_named = issubclass(page, Acts) or hasattr(page, "acts") or hasattr(page, "_acts")
    return all_named or deed.do not in named_acts(page)


def texts(nodes: list[Any]) -> set[str]:
    """What stands in quotes there."""
    found = (one.value for node in nodes for one in ast.walk(node) if isinstance(one, ast.Constant))
    return {text for text in found if isinstance(text, str)}


@pytest.fixture
def done(request: pytest.FixtureRequest) -> set[Deed]:
    """What was done, once all of this directory was run: of a part there is nothing to be said."""
    run = {(item.path, getattr(item, "originalname", "")) for item in request.session.items}
    written = {
        (path, name)
        for path in Path(__file__).parent.glob("test_*.py")
        for name in re.findall(r"^def (test_\w+)", path.read_text(encoding="utf-8"), re.M)
    }
    if not written <= run or request.session.testsfailed:
        pytest.skip("Only when all of the browser's tests were run, everything was done.")
    return {one for one in DONE if one.do not in SHOWING}


@pytest.fixture
def own(done: set[Deed]) -> set[Deed]:
    """What each page is for, of that."""
    pages = takes_forms()
    return {one for one in done if one.route in pages and is_its_own(one, pages[one.route])}


def test_every_page_is_used_on_either_screen(own: set[Deed]) -> None:
    used = {(one.route, one.size) for one in own if one.javascript}
    assert not sorted({(route, size) for route in takes_forms() for size in SIZES} - used)


def test_every_page_is_used_where_no_script_runs(own: set[Deed]) -> None:
    plain = {(one.route, one.size) for one in own if not one.javascript}
    assert not sorted(takes_forms().keys() - {route for route, _ in plain})
    assert not sorted({(route, size) for route in DAILY for size in SIZES} - plain)


def test_every_act_is_done(done: set[Deed]) -> None:
    wanted = {(route, do) for route, page in takes_forms().items() for do in named_acts(page)}
    assert not sorted(wanted - {(one.route, one.do) for one in done} - UNSEEN.keys())


def test_the_acts_of_pages_are_known() -> None:
    """By a table, by a comparison, and by a case."""
    pages = takes_forms()
    assert named_acts(pages["/tokens"]) == {"make", "end", "end_all"}
    assert named_acts(pages["/lots/<uuid:id>"]) == {"keep", "open", "put", "retest"}
    assert named_acts(pages["/settlement"]) == {"clear", "close", "store"}
    assert {"accept", "take", "later"} < named_acts(pages["/"])
    assert named_acts(pages["/products/new"]) == set()
