"""What the documents print from the code is what the code says."""

import re

from ledger.roles import MAY, Verb
from tests.running import ROOT

DEVELOPERS = ROOT / "DEVELOPERS.md"
BETWEEN = re.compile(r"<!-- roles -->\n(.*?)<!-- /roles -->", re.DOTALL)
PATHS = re.compile(r"`((?:ledger|formulas|api|tests|deploy)/[\w./-]+)`")

LARGEST_PICTURE = 120_000
# How the code under deploy/ asks its environment for something.
ASKED = re.compile(r"(?:ENV\.get|environ\.get|given\.get|flag)\(\s*\"([A-Z_]+)\"")
# For migrating, which the server does by itself.
NOT_FOR_OPERATORS = {"STILLROOM_AS_OWNER"}


def table_of_roles() -> str:
    """The table of roles by verbs, as DEVELOPERS.md prints it."""
    rows = [["", *MAY], ["---", *(":-:" for _ in MAY)]]
    rows += [[verb.value, *("yes" if verb in may else "" for may in MAY.values())] for verb in Verb]
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def test_the_table_of_roles_is_current() -> None:
    found = BETWEEN.search(DEVELOPERS.read_text())
    assert found is not None
    assert found[1] == table_of_roles(), f"print this instead:\n{table_of_roles()}"


def test_the_files_that_are_named_are_there() -> None:
    named = [
        name
        for document in ("README.md", "DEVELOPERS.md")
        for name in PATHS.findall((ROOT / document).read_text())
    ]
    assert len(named) > 20
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_the_pictures_are_there_small_and_told_in_words() -> None:
    shown = re.findall(r"!\[([^]]+)\]\(([^)]+\.png)\)", (ROOT / "README.md").read_text())
    assert len(shown) == 5
    for told, file in shown:
        assert len(told) > 40, file
        assert (ROOT / file).stat().st_size <= LARGEST_PICTURE, file


def test_every_variable_of_the_environment_is_in_the_readme() -> None:
    modules = sorted((ROOT / "deploy").glob("*.py"))
    asked = {name for module in modules for name in ASKED.findall(module.read_text())}
    assert {"PORT", "EMAIL_URL", "DATABASE_URL", "STILLROOM_DEMO"} <= asked
    readme = (ROOT / "README.md").read_text()
    assert sorted(n for n in asked - NOT_FOR_OPERATORS if f"`{n}`" not in readme) == []


def test_the_tests_that_are_named_are_there() -> None:
    named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", DEVELOPERS.read_text())
    assert len(named) > 20
    missing = [
        f"{file}::{test}"
        for file, test in named
        if f"def {test}(" not in ((ROOT / file).read_text() if (ROOT / file).exists() else "")
    ]
    assert missing == []
