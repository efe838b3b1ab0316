"""A language in which each text of the catalogue is as in English, between marks.

What a page says without marks is in no catalogue, and could be said in no other language. What
stands in the places of a text is not between its marks, since it may be in none.
"""

import ast
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import django
from django.utils.translation.template import templatize

from api.sentences import program, sentences
from tests.catalogues import write_catalogue
from tests.test_words import CALLS, TEMPLATES

LANGUAGE: Final = "qq"
OPEN, CLOSE = "⟦", "⟧"
MARKED: Final = re.compile(f"{OPEN}[^{OPEN}{CLOSE}]*{CLOSE}")
# What is not said of a text: its places, and elements within it.
PLACE: Final = re.compile(r"(%\(\w+\)[sd]|%%|\{\w*(?:![rs])?(?::[^}]*)?\}|</?\w[^>]*>)")
# What Django says of itself on our pages: what a field refuses, and months.
OF_DJANGO: Final = ("forms/*.py", "core/validators.py", "utils/dates.py")
LATER: Final = {"ngettext_lazy"}
QUOTED: Final = re.compile(r"""\s*u?('(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*")""", re.DOTALL)
CALL: Final = re.compile(r"\b(_|n?gettext)\(")


def marked(text: str) -> str:
    """A text as this language says it."""
    parts = PLACE.split(text)
    return "".join(
        part if number % 2 or not re.search(r"[^\W\d_]", part) else f"{OPEN}{part}{CLOSE}"
        for number, part in enumerate(parts)
    )


def write_pseudo(folder: Path) -> None:
    """Write the catalogue of all that there is to translate."""
    modules = program()
    pages = [tree for path, tree in modules.items() if path.startswith("api/")]
    keys = {*_of_modules([*pages, *_of_django()]), *_of_templates()}
    keys |= {(one.text,) for one in sentences(modules) if one.text}
    texts = {"\0".join(key): "\0".join(map(marked, key)) for key in keys}
    write_catalogue(folder, LANGUAGE, texts)


def _of_django() -> Iterator[ast.Module]:
    home = Path(django.__file__).parent
    for pattern in OF_DJANGO:
        yield from (ast.parse(path.read_text()) for path in home.glob(pattern))


def _of_modules(modules: Iterable[ast.Module]) -> Iterator[tuple[str, ...]]:
    """The texts in the calls of gettext."""
    for tree in modules:
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and _called(node.func) in CALLS | LATER:
                yield from _given(node)


def _called(function: ast.expr) -> str:
    return str(getattr(function, "id", getattr(function, "attr", "")))


def _given(call: ast.Call) -> Iterator[tuple[str, ...]]:
    plural = _called(call.func).startswith("ngettext")
    given = call.args[: 2 if plural else 1]
    told = [one.value for one in given if isinstance(one, ast.Constant)]
    if told and len(told) == len(given):
        yield tuple(map(str, told))


def _of_templates() -> Iterator[tuple[str, ...]]:
    for path in TEMPLATES:
        yield from _in_template(templatize(path.read_text()))


def _in_template(code: str) -> Iterable[tuple[str, ...]]:
    """The texts of a template, of which Django has made calls amid nothing."""
    for call in CALL.finditer(code):
        first = QUOTED.match(code, call.end())
        if first is None:
            continue
        key = [first[1]]
        if call[1] == "ngettext" and (second := QUOTED.match(code, first.end() + 1)):
            key.append(second[1])
        yield tuple(str(ast.literal_eval(one)) for one in key)
