"""What `deploy/mutate` changes: every pure file, derived from what the files import."""

import ast
from io import StringIO
from pathlib import Path

import pytest

from tests.changing import ChangedFile
from tests.lived import LISTED, Lived, lived_and_why
from tests.mutating import Outcome
from tests.mutation import FILES, TESTS, Table, asked
from tests.test_tidy import ROOT, imported

# Pure as well, and not changed: there is no rule in them that a test could notice.
WORDS_AND_TABLES = {
    "formulas/__init__.py": "words",
    "formulas/errors.py": "refusals: their words, which people read and no program does",
    "ledger/__init__.py": "words",
    "ledger/errors.py": "refusals: their words, which people read and no program does",
    "ledger/explained_moves.py": "refusals: what the name of a constraint says in words",
    "ledger/explained_stock.py": "refusals: what the name of a constraint says in words",
    "ledger/ids.py": "random bits and the clock",
    "ledger/roles.py": "a table without a function; every verb is tried with every role",
}
# The walls of the pure files: whoever imports one of these needs a database or a framework.
FRAMEWORKS = ("django", "psycopg", "celery", "redis", "ledger.models", "formulas.models")


def module(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(path: Path) -> set[str]:
    tree = ast.parse(path.read_text())
    named = set(imported(tree))
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            named |= {f"{node.module}.{alias.name}" for alias in node.names}
    return named


def pure_files() -> set[str]:
    """The files of the two lower layers that need no framework, themselves or by what they use."""
    files = {module(path): path for name in ("ledger", "formulas") for path in _files(name)}
    uses = {name: imports(path) for name, path in files.items()}
    impure = {
        name for name, used in uses.items() if any(one.startswith(FRAMEWORKS) for one in used)
    }
    while more := {name for name in uses if name not in impure and uses[name] & impure}:
        impure |= more
    return {str(files[name].relative_to(ROOT)) for name in uses if name not in impure}


def _files(package: str) -> list[Path]:
    return sorted((ROOT / package).glob("*.py"))


def test_every_pure_file_is_changed() -> None:
    assert sorted(FILES) == FILES
    assert set(FILES) | set(WORDS_AND_TABLES) == pure_files()
    assert not set(FILES) & set(WORDS_AND_TABLES)


def test_the_tests_of_the_pure_files_are_there_and_need_no_server() -> None:
    """Each is run again for every change: a test that starts a database would take a day."""
    assert sorted(TESTS) == TESTS
    for name in TESTS:
        path = ROOT / name
        for file in [path] if path.is_file() else sorted(path.glob("test_*.py")):
            arguments = {
                argument.arg
                for node in ast.walk(ast.parse(file.read_text()))
                if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
                for argument in node.args.args
            }
            needs = arguments & {"shop", "shelf", "bench", "database", "server", "north", "mill"}
            assert not needs, f"{file}: {needs}"


@pytest.fixture
def changed(monkeypatch: pytest.MonkeyPatch) -> ChangedFile:
    """A small file; a change is known by where it stands, seen from the project."""
    monkeypatch.chdir(ROOT)
    return ChangedFile("ledger/order_prices.py")


def test_the_changes_asked_for_are_found_by_their_names(changed: ChangedFile) -> None:
    for wanted in ("ledger.order_prices*", "ledger.order_prices.*", "*.order_prices.*"):
        assert [*asked([wanted]).values()] == [changed.changes]
    [found] = asked(["ledger.order_prices.x_price*"]).values()
    assert 0 < len(found) < len(changed.changes)
    assert not asked(["ledger.order_price"])


def test_each_change_on_the_list_of_what_lived_is_one_of_a_line_that_is_there() -> None:
    listed = lived_and_why(LISTED.read_text())
    files = {change.file for change in listed}
    assert files <= set(FILES)
    lines = {
        file: {line.strip() for line in (ROOT / file).read_text().splitlines()} for file in files
    }
    gone = [
        (change, line)
        for change in listed
        for line in change.lines
        if line.startswith("- ") and line[2:] not in lines[change.file]
    ]
    assert not gone


def test_a_list_without_a_reason_or_with_a_change_twice_is_refused() -> None:
    file, reason, change = "ledger/money.py\n", "The same.\n", "  split\n    - a\n    + b\n"
    known = {Lived("ledger/money.py", "split", ("- a", "+ b")): "The same."}
    assert lived_and_why(file + reason + change) == known
    for wrong in (file + change, file + reason + change + change):
        with pytest.raises(ValueError, match="Twice, or without a reason"):
            lived_and_why(wrong)


def test_what_lived_unlisted_is_told_and_makes_a_file_poor_as_too_much_of_it_does(
    changed: ChangedFile,
) -> None:
    first, *others = changed.changes
    lived = {first: Outcome.LIVED}
    noticed = dict.fromkeys(others, Outcome.NOTICED)
    lines = ("- if ordered <= 0:", "+ if ordered < 0:")
    listed = {Lived(changed.file, "agreed_price", lines)}
    out = StringIO()
    poor = []
    for outcomes, known in (
        ({first: Outcome.TOO_LONG} | noticed, set()),
        (lived | noticed, listed),
        (lived | noticed, set()),
        (lived, listed),
    ):
        table = Table(out, known)
        table.row(changed, outcomes)
        poor.append(table.poor)
    assert poor == [False, False, True, True]
    assert len(changed.changes) == 9
    assert out.getvalue().splitlines() == [
        f"{changed.file:32}     9 of     9  100.0 %",
        f"    {first}  took too long",
        f"{changed.file:32}     8 of     9   88.9 %",
        f"{changed.file:32}     8 of     9   88.9 %",
        f"    {first}",
        *(f"        {line}" for line in lines),
        f"{changed.file:32}     0 of     1    0.0 %",
    ]
