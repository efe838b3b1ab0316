"""What no test notices, and why none could: `tests/lived.txt`.

A file's name has no indent and ends in `.py`; a reason has none either, and holds for what is under
it; a function is indented, and the lines that are other in it, before and after, once more. So a
change is known by what it does and not by its number, which every edit of a function moves.
"""

from pathlib import Path
from typing import Final, NamedTuple

from mutmut.utils.format_utils import orig_function_and_class_names_from_key

LISTED: Final = Path(__file__).with_suffix(".txt")


class Lived(NamedTuple):
    """A change that no test notices: the lines that are other, without their indent."""

    file: str
    function: str
    lines: tuple[str, ...]


def lived_and_why(text: str) -> dict[Lived, str]:
    """Each change on the list with its reason. ValueError: twice, or no reason stands above it."""
    found: dict[Lived, str] = {}
    file = why = function = ""
    lines: list[str] = []

    def keep() -> None:
        if not lines:
            return
        change = Lived(file, function, tuple(lines))
        if change in found or not why:
            raise ValueError(f"Twice, or without a reason: {change}")
        found[change] = why
        lines.clear()

    for line in filter(None, text.splitlines()):
        if line.startswith("    "):
            lines.append(line.strip())
            continue
        keep()
        if line.startswith("  "):
            function = line.strip()
        elif line.endswith(".py"):
            file, why = line, ""
        else:
            why = line
    keep()
    return found


def change_of(file: str, name: str, told: list[str]) -> Lived:
    """A change as the list has it, from its name and the lines that are other."""
    function, of_class = orig_function_and_class_names_from_key(name)
    whose = f"{of_class}.{function}" if of_class else function
    return Lived(file, whose, tuple(map(plain, told)))


def plain(line: str) -> str:
    """The sign and what is said, without the indent between them."""
    return f"{line[:1]} {line[1:].strip()}"
