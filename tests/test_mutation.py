"""What `deploy/mutate` changes: every pure file, derived from what the files import."""

import ast
from io import StringIO
from pathlib import Path

import pytest

from tests.changing import ChangedFile
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


def test_what_lived_is_told_and_a_file_with_too_much_of_it_is_poor(
    changed: ChangedFile,
) -> None:
    first, *others = changed.changes
    noticed = dict.fromkeys(others, Outcome.NOTICED)
    out = StringIO()
    table = Table(out)
    poor = []
    for outcomes in (
        {first: Outcome.TOO_LONG} | noticed,
        {first: Outcome.LIVED, others[0]: Outcome.NOTICED},
        {first: Outcome.NOTICED} | noticed,
    ):
        table.row(changed, outcomes)
        poor.append(table.poor)
    assert poor == [False, True, True]
    all_of_them = f"{len(changed.changes):6} of {len(changed.changes):5}  100.0 %"
    assert out.getvalue().splitlines() == [
        f"{changed.file:32}{all_of_them}",
        f"    {first}  took too long",
        f"{changed.file:32}     1 of     2   50.0 %",
        f"    {first}",
        "        -     if ordered <= 0:",
        "        +     if ordered < 0:",
        f"{changed.file:32}{all_of_them}",
    ]
