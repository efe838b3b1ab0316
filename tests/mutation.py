"""`python -m tests.mutation [NAME …]`: how many changes the tests notice, file by file."""

import os
import sys
import tomllib
from collections.abc import Container
from fnmatch import fnmatch
from pathlib import Path
from typing import Final, TextIO

import pytest

from tests.changing import ChangedFile, ChangedFiles, module_of
from tests.lived import LISTED, Lived, change_of, lived_and_why
from tests.mutating import Mutating, Outcome

ROOT: Final = Path(__file__).resolve().parent.parent
CONFIGURED: Final = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["mutmut"]
FILES: Final[list[str]] = CONFIGURED["only_mutate"]
TESTS: Final[list[str]] = CONFIGURED["pytest_add_cli_args_test_selection"]
LEAST: Final = 85
# What pytest says of its tests would stand between the rows, once for every change.
SILENT: Final = ["-o", "addopts=", "-p", "no:terminal", "-p", "no:cacheprovider"]


class Table:
    """The rows as they come, and whether one of them is below the least or has lives unexplained.

    A change that lived and is on the list of those that nothing could notice is not told again.
    """

    def __init__(self, out: TextIO, listed: Container[Lived]) -> None:
        self._out = out
        self._listed = listed
        self.poor = False

    def row(self, file: ChangedFile, outcomes: dict[str, Outcome]) -> None:
        """How many were noticed; what lived unlisted, and what took too long, which is told too."""
        noticed = sum(outcome is not Outcome.LIVED for outcome in outcomes.values())
        share = 100 * noticed / len(outcomes)
        self.poor |= share < LEAST
        self._say(f"{file.file:32}{noticed:6} of {len(outcomes):5}  {share:5.1f} %")
        for change, outcome in outcomes.items():
            if outcome is Outcome.TOO_LONG:
                self._say(f"    {change}  took too long")
            elif outcome is Outcome.LIVED:
                self._lived(file, change)

    def _lived(self, file: ChangedFile, change: str) -> None:
        known = change_of(file.file, change, file.told(change))
        if known in self._listed:
            return
        self.poor = True
        self._say(f"    {change}")
        for line in known.lines:
            self._say(f"        {line}")

    def _say(self, line: str) -> None:
        self._out.write(f"{line}\n")
        self._out.flush()


def asked(wanted: list[str]) -> dict[ChangedFile, list[str]]:
    """The files with a change of such a name, and these changes; all if no name is given."""
    wanted = wanted or ["*"]
    # The name of a function has an x before it. What is before that tells most files apart,
    # and making the changes of a file takes a second or two.
    heads = [f"{each.partition('.x')[0]}*" for each in wanted]
    found = {}
    for name in FILES:
        if not any(fnmatch(f"{module_of(name)}.", head) for head in heads):
            continue
        file = ChangedFile(name)
        changes = [
            change for change in file.changes if any(fnmatch(change, each) for each in wanted)
        ]
        if changes:
            found[file] = changes
    return found


def main(wanted: list[str]) -> int:
    """Print the table; 1 if a file is below the least, or something lived that is not listed."""
    changes = asked(wanted)
    if not changes:
        sys.exit("No change of a pure file has such a name.")
    sys.meta_path.insert(0, ChangedFiles(list(changes)))
    # The tests write into what pytest puts in the place of the output; the table does not.
    with os.fdopen(os.dup(sys.stdout.fileno()), "w") as out:
        table = Table(out, lived_and_why(LISTED.read_text()))
        code = pytest.main([*SILENT, *TESTS], plugins=[Mutating(changes, table.row)])
    return int(code != 0 or table.poor)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
