"""Every word that a page or a paper says can be said in another language: it stands in a call of
gettext."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from django.core.management.commands import makemessages as django

from api.management.commands import makemessages
from api.pages import words
from api.pages.lot_places import KEEPS
from formulas.variances import FORMULAS, USAGE
from ledger.costing import ChargeKind
from ledger.issuing import ISSUED
from ledger.lots import BECOMES
from ledger.makers import STANDING
from ledger.models import Account, CountCause, Entry, Membership, Status
from tests.running import ROOT

# The module of words says in a reader's language what others tell by fixed names; in that of HTML
# stands a policy, and no word for people.
PAGES: Final = sorted(
    {*(ROOT / "api").glob("pages/*.py"), *(ROOT / "api").glob("sheets/*.py")}
    - {ROOT / "api/pages/words.py", ROOT / "api/sheets/html.py"}
)
TEMPLATES: Final = sorted((ROOT / "api" / "templates").rglob("*.html"))
# What is called so in every language: our name, kinds of files, and units by their symbols.
NAMES: Final = {"Stillroom", "CSV", "XLSX", "CAS", "kg", "g", "mL", "C", "nbsp"}
CALLS: Final = {"_", "said", "gettext", "gettext_lazy", "ngettext"}
BLOCK: Final = r"{% blocktranslate.*?{% endblocktranslate %}"
TAG: Final = re.compile(rf"{{#.*?#}}|{BLOCK}|{{%.*?%}}|{{{{.*?}}}}", re.DOTALL)
# What a reader sees or hears of an element beside its text.
HEARD: Final = re.compile(r'(?:aria-label|title|alt|placeholder|data-[a-z-]+)="([^"]*)"')
SENTENCE: Final = re.compile(r"^[^<]*[A-Za-z]{2,} [a-z]{2,}")
# Not for people: styles of a library, units, what forms send, rows of examples.
NO_SENTENCES: Final = {
    *("lower left", "oz wt", "sent back"),
    *("certificate seen", "Hand balm", "Sunflower oil", "j M Y"),
}
# What makes a figure of a working, with its name and how it was reckoned.
FIGURES: Final = {"Figure", "self._money", "self.figure", "teller.figure", "teller.split"}
WORD: Final = re.compile(r"[A-Za-z]{2,}|\b[A-Z]\b")


def words_in(text: str) -> set[str]:
    return set(WORD.findall(re.sub(r"&\w+;", " ", text))) - NAMES


def bare_words(template: str) -> set[str]:
    """The words of a template that stand between its tags, or in what is read out."""
    text = TAG.sub("\0", template)
    heard = " ".join(value for value in HEARD.findall(text) if not value.isascii() or " " in value)
    shown = re.sub(r"<!doctype[^>]*>|<[^>]*>", " ", text)
    return words_in(shown) | words_in(heard)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_no_template_says_a_word_in_one_language(path: Path) -> None:
    assert bare_words(path.read_text()) == set()


def test_a_bare_word_is_found() -> None:
    assert bare_words('<h1>{% translate "Lots" %} of {{ name }}</h1>') == {"of"}
    block = "{% blocktranslate %}of {{ name }}{% endblocktranslate %}"
    assert bare_words(f"<p>{block} or {block}") == {"or"}
    assert bare_words('<p aria-label="All lots">{{ x }} kg</p>') == {"All", "lots"}


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_no_page_says_a_sentence_in_one_language(path: Path) -> None:
    found = [f"{path.name}:{line}: {text}" for line, text in bare_sentences(path.read_text())]
    assert found == []


def bare_sentences(source: str) -> Iterator[tuple[int, str]]:
    """Texts of a module that read like words for people and are in no call of gettext."""
    tree = ast.parse(source)
    spoken = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in CALLS
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            spoken.add(id(node.value))
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        if (
            id(node) not in spoken
            and node.value not in NO_SENTENCES
            and SENTENCE.search(node.value)
        ):
            yield node.lineno, node.value


def test_a_bare_sentence_is_found() -> None:
    source = '"""A module."""\nfail("Write down why.")\nfail(_("Write it."))\nname = "lots"'
    assert list(bare_sentences(source)) == [(2, "Write down why.")]


def test_what_is_said_at_once_is_collected_for_translators(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The tool that reads calls of gettext is told our other name of it."""
    told: list[str] = []
    monkeypatch.setattr(
        django.Command, "handle", lambda self, **how: told.extend(self.xgettext_options)
    )
    makemessages.Command().handle()
    assert "--keyword=said" in told


@pytest.mark.parametrize("module", ["explaining", "explaining_worth", "variance_workings"])
def test_figures_are_told_in_words_that_pages_know(module: str) -> None:
    said = set(told_by((ROOT / "formulas" / f"{module}.py").read_text()))
    assert sorted(said - set(words.NAMES) - {"", "%", "g", "{} units"}) == []


def told_by(source: str) -> Iterator[str]:
    """The names of figures and the ways they are reckoned, so far as they are fixed."""
    for node in ast.walk(ast.parse(source)):
        texts: list[ast.expr] = []
        if isinstance(node, ast.Call) and ast.unparse(node.func) in FIGURES:
            texts = [*node.args, *(word.value for word in node.keywords if word.arg == "how")]
        elif isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) in {"how", "loss"}:
            texts = [node.value]
        for one in texts:
            if isinstance(one, ast.Constant) and isinstance(one.value, str):
                yield one.value


def test_parts_of_a_difference_are_told_in_words_that_pages_know() -> None:
    assert sorted({*FORMULAS.values(), USAGE} - set(words.NAMES)) == []


def test_standing_accounts_are_called_in_words_that_pages_know() -> None:
    told = {
        name
        for kind, name in STANDING
        if kind in {Account.Kind.SALES, Account.Kind.ISSUE, Account.Kind.LOSS}
    }
    told |= {*ISSUED, *CountCause.Cause.values, "heel", "reject", "emptied"}
    assert sorted(told - set(words.ACCOUNTS)) == []
    assert sorted(set(Entry.Kind.values) - set(words.KINDS)) == []
    assert sorted(set(Account.Kind.values) - set(words.HELD)) == []


def test_roles_charges_and_what_becomes_of_lots_are_called_in_words_that_pages_know() -> None:
    assert set(words.ROLES) == set(Membership.Role.values)
    assert set(words.CHARGES) == set(ChargeKind)
    assert set(words.DECISIONS) == set(BECOMES)
    assert set(words.STATUSES) == set(Status.values)
    assert set(KEEPS) == {"", *Status.values}


TAGS: Final = re.compile(r"<[^>]*>")
CODE: Final = re.compile(r"{{\s*([\w.]+\.(?:kind|role|decision|status))\s*}}")


def test_no_template_shows_a_bare_code() -> None:
    """What the domain calls by a code goes through what a reader's language has for it."""
    found = {
        (path.stem, one)
        for path in TEMPLATES
        for one in CODE.findall(TAGS.sub("", path.read_text()))
    }
    assert sorted(found) == []
