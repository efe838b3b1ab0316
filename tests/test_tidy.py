"""Style that a machine can judge: sizes, no float in domain code, layers, one door to the rows."""

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from api import sentences

ROOT = Path(__file__).resolve().parent.parent
CODE = ("ledger", "formulas", "api", "deploy", "tests")
DOMAIN = ("ledger", "formulas")
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml", *CODE}
# A column's default must be importable from the migration that made the column.
MIGRATIONS_MAY_IMPORT = {"ledger.ids"}
COLUMNS, FUNCTION_LINES, MODULE_LINES = 100, 50, 400
MACHINE_PATH = re.compile(r"(?<![\w.])/(?:root|home/\w+|Users/\w+|work)/")
# No quantity or money: how alike two spellings must be, and how many seconds to wait.
DIVIDED_OPENLY = {("ledger/unit_names.py", "7 / 10"), ("ledger/outbox.py", "200 / 1000")}
OF_FLOATS = {"models.FloatField", "math.fsum", "math.sqrt"}
# Arrays of binary numbers, for a question about all formulas at once; prices are exact.
MAY_USE_ARRAYS = {"formulas/rollup.py"}
# The solver reckons in floats; whole numbers go in and come out, and costs are reckoned anew.
MAY_ASK_THE_SOLVER = {"ledger/solver.py"}
# What cannot be told where it stands is told elsewhere: these pass on what others have said.
PASSED_ON = {
    "api/kept_sentences.py: told['template']",
    "api/list_cells.py: refusal.detail",
    "api/pages/forms.py: question",
    "api/signing.py: ' '.join(error.messages)",
    "formulas/cautions.py: rule.ask",
    "formulas/cautions.py: rule.reason",
    "formulas/cautions.py: rule.text",
    "formulas/cautions.py: tuple(about)",
    "ledger/errors.py: ' '.join((type(self).__doc__ or '').split())",
    "ledger/price_list_rows.py: why",
    "ledger/round_handing.py: reckoned.missing[0]",
    "ledger/round_ordering.py: NOT_AGREED",
    "ledger/stock_lists.py: why",
}
# What a version control system keeps is judged; what a tool left lying about is not.
GENERATED = {".venv", ".data", ".git", "__pycache__", "stillroom.egg-info"}


def modules(*packages: str) -> list[Path]:
    found = [path for package in packages for path in (ROOT / package).rglob("*.py")]
    return sorted(path for path in found if not GENERATED & set(path.parts))


def written(*packages: str) -> list[Path]:
    """The modules that people write; the schema's migrations are written by a command."""
    return [path for path in modules(*packages) if not is_migration(path)]


def is_migration(path: Path) -> bool:
    return path.parent.name == "migrations" and path.name[:4].isdigit()


def texts() -> list[Path]:
    """Every text of ours, a program in SQL or a shell as well; not what a tool wrote."""
    ends = {".py", ".sql", ".md", ".toml", ".yaml", ".sh", ".html", ".css", ""}
    places = [ROOT / name for name in CODE]
    found = [path for place in places for path in place.rglob("*") if path.is_file()]
    found += [path for path in ROOT.iterdir() if path.is_file()]
    return sorted(path for path in found if path.suffix in ends and not GENERATED & set(path.parts))


def is_script(path: Path) -> bool:
    """A command whose name does not say what it is written in."""
    return not path.suffix and path.read_bytes().startswith(b"#!")


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


def trees(*packages: str) -> Iterator[tuple[Path, ast.Module]]:
    for path in modules(*packages):
        yield path, ast.parse(path.read_text(), named(path))


def divided(tree: ast.AST) -> list[tuple[int, str]]:
    """Where whole numbers are divided, which makes a float of them, and how it is written."""
    return [
        (node.lineno, ast.unparse(node))
        for node in ast.walk(tree)
        if isinstance(node, ast.BinOp)
        and isinstance(node.op, ast.Div)
        and all(
            isinstance(side, ast.Constant) and isinstance(side.value, int)
            for side in (node.left, node.right)
        )
    ]


def floats(tree: ast.AST) -> list[int]:
    """The lines with a float: a literal, the name (a call, an annotation), or a way in through
    `math`; a Decimal's own root is a Decimal."""
    return [
        node.lineno
        for node in ast.walk(tree)
        if (isinstance(node, ast.Constant) and isinstance(node.value, float | complex))
        or (isinstance(node, ast.Name) and node.id in {"float", "complex"})
        or (isinstance(node, ast.Attribute) and ast.unparse(node) in OF_FLOATS)
    ]


def imported(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module or "."


def long_functions(tree: ast.AST) -> list[str]:
    return [
        f"{node.name} ({size} lines)"
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (size := (node.end_lineno or node.lineno) - node.lineno + 1) > FUNCTION_LINES
    ]


def door_passed_by(tree: ast.AST, models: set[str]) -> list[str]:
    """Where `Lot.objects` or the like is used of a model of ours."""
    return [
        f"{node.lineno}: {node.value.id}.{node.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.attr in {"objects", "_default_manager", "_base_manager"}
        and node.value.id in models
    ]


def test_lines_are_short() -> None:
    kinds = {".py", ".sql", ".sh"}
    long = [
        f"{named(path)}:{number}"
        for path in texts()
        if (path.suffix in kinds or is_script(path)) and not is_migration(path)
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if len(line) > COLUMNS
    ]
    assert not long


def test_functions_are_short() -> None:
    assert not [
        f"{named(path)}: {function}"
        for path, tree in trees(*CODE)
        for function in long_functions(tree)
    ]


def test_modules_are_short() -> None:
    lengths = {path: len(path.read_text().splitlines()) for path in written(*CODE)}
    assert not [f"{named(path)}: {n} lines" for path, n in lengths.items() if n > MODULE_LINES]


def test_no_float_in_domain_code() -> None:
    assert not [f"{named(path)}:{line}" for path, tree in trees(*DOMAIN) for line in floats(tree)]
    found = {
        (named(path), how): line for path, tree in trees(*DOMAIN) for line, how in divided(tree)
    }
    assert set(found) == DIVIDED_OPENLY, found


def test_arrays_stand_in_one_place_and_are_loaded_when_asked() -> None:
    """NumPy's numbers are floats by another name; and the server starts without them."""
    arrays = {"numpy", "scipy", "scipy.sparse"}
    users = {named(path) for path, tree in trees(*DOMAIN, "api") if arrays & set(imported(tree))}
    assert users == MAY_USE_ARRAYS
    at_the_top = [
        name
        for name in users
        for node in ast.parse((ROOT / name).read_text()).body
        if isinstance(node, ast.Import | ast.ImportFrom) and arrays & set(imported(node))
    ]
    assert at_the_top == []


def test_the_solver_is_asked_in_one_place_and_loaded_when_asked() -> None:
    users = {named(path) for path, tree in trees(*DOMAIN, "api") if "highspy" in imported(tree)}
    assert users == MAY_ASK_THE_SOLVER
    assert not [
        name
        for name in users
        for node in ast.parse((ROOT / name).read_text()).body
        if isinstance(node, ast.Import | ast.ImportFrom) and "highspy" in imported(node)
    ]


def test_migrations_import_nothing_of_the_apps() -> None:
    """A migration that imports today's code breaks when the code moves on; its own SQL may come
    from beside it."""
    ours = re.compile(r"^(ledger|formulas|api)(?!\.migrations)\b")
    assert not [
        f"{named(path)}: {name}"
        for path, tree in trees(*DOMAIN, "api")
        if "migrations" in path.parts
        for name in imported(tree)
        if ours.match(name) and name not in MIGRATIONS_MAY_IMPORT
    ]


def test_the_top_level_is_what_the_design_says() -> None:
    seen = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert seen - GENERATED - TOP_LEVEL == set()


def test_the_faces_reach_rows_through_the_one_door() -> None:
    from django.apps import apps

    models = {model.__name__ for app in DOMAIN for model in apps.get_app_config(app).get_models()}
    assert not [
        f"{named(path)}:{use}"
        for path, tree in trees("api")
        for use in door_passed_by(tree, models)
    ]


def test_no_path_of_a_machine_stands_in_the_project() -> None:
    found = [named(path) for path in texts() if MACHINE_PATH.search(path.read_text())]
    assert found == [], "a path that only one machine has"


def test_commands_can_be_run() -> None:
    commands = [ROOT / "manage.py", ROOT / ".ci" / "run"]
    commands += [ROOT / "deploy" / name for name in ("up", "test", "bench", "backup", "restore")]
    for command in commands:
        assert command.stat().st_mode & 0o100, command
        if command.suffix != ".py":
            subprocess.run(["bash", "-n", command], check=True)


@pytest.mark.parametrize(
    ("code", "lines"),
    [
        ("x = 1.5", [1]),
        ("def f(x: float) -> int: ...", [1]),
        ("x = 1\ny = float(x)", [2]),
        ("x: 'Decimal' = 1", []),
        ("x = Decimal('1.5')", []),
    ],
)
def test_the_float_check_sees_floats(code: str, lines: list[int]) -> None:
    assert floats(ast.parse(code)) == lines


def test_the_division_check_sees_divisions() -> None:
    assert divided(ast.parse("x = 1\ny = 7 / 10 * z")) == [(2, "7 / 10")]
    assert divided(ast.parse("x = 7 // 10 + Decimal(1) / 3")) == []


def test_every_command_is_judged_by_its_first_line() -> None:
    commands = {path.name for path in texts() if is_script(path)}
    assert {"up", "test", "bench", "backup", "restore"} <= commands
    assert "LICENSE" not in commands


def test_the_other_checks_see_what_they_are_for() -> None:
    body = "\n".join(["    x = 1"] * FUNCTION_LINES)
    assert long_functions(ast.parse(f"def f():\n{body}")) == ["f (51 lines)"]
    assert door_passed_by(ast.parse("Lot.objects.all()"), {"Lot"}) == ["1: Lot.objects"]
    assert door_passed_by(ast.parse("lot_for(maker, id)"), {"Lot"}) == []
    assert list(imported(ast.parse("from ledger.models import Lot"))) == ["ledger.models"]
    assert MACHINE_PATH.search("see /ro" + "ot/x")
    assert not MACHINE_PATH.search("a/root/x")


def test_every_sentence_of_the_domain_can_be_told_beforehand() -> None:
    """A refusal is a fixed text or a `Sentence` with named places, never an f-string: pages say it
    in the reader's language."""
    found = sentences.sentences(sentences.program())
    assert {f"{one.path}: {one.written}" for one in found if one.text is None} == PASSED_ON
