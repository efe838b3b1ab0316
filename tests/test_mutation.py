"""What `deploy/mutate` changes: every pure file, derived from what the files import."""

import ast
import tomllib
from pathlib import Path

from tests.test_tidy import ROOT, imported

CONFIGURED = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["mutmut"]
# Pure as well, and not changed: there is no rule in them that a test could notice.
WORDS_AND_TABLES = {
    "formulas/__init__.py": "words",
    "formulas/errors.py": "refusals: their words, which people read and no program does",
    "ledger/__init__.py": "words",
    "ledger/errors.py": "refusals: their words, which people read and no program does",
    "ledger/explained_moves.py": "refusals: what the name of a constraint says in words",
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
    listed = CONFIGURED["only_mutate"]
    assert listed == sorted(listed)
    assert set(listed) | set(WORDS_AND_TABLES) == pure_files()
    assert not set(listed) & set(WORDS_AND_TABLES)


def test_the_tests_of_the_pure_files_are_there_and_need_no_server() -> None:
    """Each is run again for every change: a test that starts a database would take a day."""
    chosen = CONFIGURED["pytest_add_cli_args_test_selection"]
    assert chosen == sorted(chosen)
    for name in chosen:
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
