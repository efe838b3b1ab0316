"""The check that a figure opens to its working, worked on pages of a few words."""

import pytest
from django.test import Client

from tests.pages.figures import Shown
from tests.pages.opening import tells

PAGE = """
<dl><div><dt>Left</dt><dd><a href="#left">70 g</a></dd></div></dl>
<ul class="tree" id="left"><li><strong>Left</strong> <span class="amount">{left}</span></li></ul>
<ul class="tree" id="other"><li><strong>Out</strong> <span class="amount">70 g</span></li></ul>
<section id="table"><a href="#table">70 g</a><table><tr><td>{cell}</td></tr></table></section>
"""


@pytest.mark.parametrize(
    ("to", "left", "cell", "has"),
    [
        ("#left", "70.004 g", "", True),
        ("#left", "0.07 kg", "", True),
        ("#left", "-70 g", "", False),
        ("#left", "70 USD", "", False),
        ("#left", "71 g", "", False),
        ("#table", "", "70 g", True),
        ("#table", "", "-70 g", False),
        ("#table", "", "170 g", False),
        ("#table", "", "how it is reckoned", False),
    ],
)
def test_a_figure_is_looked_for_where_it_leads(to: str, left: str, cell: str, has: bool) -> None:
    page = PAGE.format(left=left or "1 g", cell=cell)
    assert tells(Client(), Shown("Left", "70 g", to), page) is has
