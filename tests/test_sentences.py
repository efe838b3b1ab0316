"""What a page says in one breath is one text of the catalogue, with places for what varies: another
language has another order of words, and other endings. Pieces that are only put beside each other
cannot be translated."""

import ast
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Final

import pytest

from tests.test_words import CALLS, PAGES, TEMPLATES

TAG: Final = re.compile(
    r"""(?P<nothing>{\#.*?\#}|{%\s*opens\b[^%]*\bas\s+\w+\s*%}.*?{%\s*endopens\s*%}
        |{%\s*(?:if|endif|for|with|endwith|load|opens|endopens)\b.*?%}
        |{%[^%]*\bas\s+\w+\s*%}|</?(?:strong|em)\b[^>]*>|<a\b(?![^>]*\bbutton\b)[^>]*>|</a>)
      |(?P<end>{%\s*(?:elif|else|endfor|empty|include|extends|block|endblock|field)\b.*?%}|<[^>]*>)
      |{%\s*blocktranslate\b.*?%}(?P<whole>.*?){%\s*endblocktranslate\s*%}
      |{%\s*translate\s+(?:"(?P<said>[^"]*)"|'(?P<quoted>[^']*)')\s*%}
      |(?P<value>{%.*?%}|{{.*?}})""",
    re.DOTALL | re.VERBOSE,
)
# What ends a sentence, or leads to a list or a value; and what stands between parts of a row.
ENDS: Final = re.compile(r"[.:?!…]$")
APART: Final = re.compile(r"[.·:=×→÷+/()–−…]|\w")  # noqa: RUF001 - signs as pages have them


def glued(template: str) -> Iterator[tuple[int, str]]:
    """Where two pieces, of which one is translated, make a sentence only when put together."""
    before: tuple[str, str] | None = None
    between, place = "", 0
    for found in TAG.finditer(template):
        between, place = between + template[place : found.start()], found.end()
        if found["nothing"]:
            continue
        text = found["said"] or found["quoted"] or (found["whole"] or "").strip()
        if found["end"] or APART.search(between):
            before = None
        if before and (text or before[0]) and not ENDS.search(before[0]):
            yield template[: found.start()].count("\n") + 1, f"{before[1]} {found[0]}"
        before, between = (None if found["end"] else (text, found[0])), ""


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_no_sentence_of_a_template_is_put_together_of_pieces(path: Path) -> None:
    assert list(glued(path.read_text())) == []


def test_pieces_are_found() -> None:
    one, day = '{% translate "until" %}', "{% day one.ends %}"
    whole = "{% blocktranslate %}until {{ ends }}{% endblocktranslate %}"
    for pieces in (
        f"<p>{one} {day}</p>",
        f"<p>{day} {one}</p>",
        f"<p>{one}{{% if x %}}, <strong>{{{{ y }}}}</strong>{{% endif %}}</p>",
        f'<p>{one} <a href="/">{{{{ y }}}}</a></p>',
        f"<p>{whole} {day}</p>",
    ):
        assert len(list(glued(pieces))) == 1, pieces
    label, end = '{% translate "Until:" %}', '{% translate "It is over." %}'
    for right in (
        f"<p>{label} {day}</p>",
        f"<p>{end} {day} · {one}</p>",
        f"<dt>{one}</dt><dd>{day}</dd>",
        f"{{% if x %}}{one}{{% else %}}{day}{{% endif %}}",
        f'<a class="button">{one}</a> <a class="button">{one}</a>',
        f"{{% day one.ends as ends %}}{whole}",
    ):
        assert list(glued(right)) == [], right


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_no_sentence_of_a_module_is_put_together_of_pieces(path: Path) -> None:
    assert [f"{path.name}:{line}" for line in glued_in(path.read_text())] == []


def glued_in(source: str) -> Iterator[int]:
    """Lines where a translated text is joined with something that varies, by nothing but a space;
    a heading and its unit, with a comma between, are two."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
            if said(node.left) or said(node.right):
                yield node.lineno
        elif isinstance(node, ast.JoinedStr):
            parts = [one for one in node.values if not is_space(one)]
            for one, other in pairwise(parts):
                values = isinstance(one, ast.FormattedValue), isinstance(other, ast.FormattedValue)
                if all(values) and (said(one) or said(other)):
                    yield node.lineno


def is_space(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and not str(node.value).strip()


def said(node: ast.expr) -> bool:
    """Whether this is a text that is translated right here."""
    if isinstance(node, ast.FormattedValue):
        node = node.value
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in CALLS


def test_pieces_of_a_module_are_found() -> None:
    assert list(glued_in("x = f\"{said('version')} {number}\"")) == [1]
    assert list(glued_in("x = said('Version') + number")) == [1]
    assert list(glued_in("x = f\"{said('Price')}, {currency}\"")) == []
    assert list(glued_in("x = said('version %(n)s') % {'n': 1}")) == []
