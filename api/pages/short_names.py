"""Names cut to two lines of a box, so that what tells them apart stays."""

from collections.abc import Iterable, Mapping
from textwrap import wrap
from typing import Final

CUT: Final = "…"
# What a name has in common with another is told by its first line.
Lines = tuple[str, ...]


def in_two_lines(names: Iterable[str], letters: int) -> Mapping[str, Lines]:
    """Each name in at most two lines of so many letters.

    Of a longer one its beginning and its end stay, since a size stands last; where another name
    has both, the part that differs stands in place of the end.
    """
    known = sorted(set(names))
    ends = {name: _beginning_and_end(name, letters) for name in known}
    alike: dict[Lines, list[str]] = {}
    for name in known:
        alike.setdefault(ends[name], []).append(name)
    return {
        name: ends[name] if len(alike[ends[name]]) == 1 else _apart(name, alike, ends, letters)
        for name in known
    }


def _beginning_and_end(name: str, letters: int) -> Lines:
    lines = wrap(name, letters)
    if len(lines) <= 2:
        return tuple(lines)
    end = name[1 - letters :]
    # From a whole word on, where that keeps most of it.
    word = end.find(" ") + 1
    return lines[0], CUT + (end[word:] if 0 < word <= letters // 2 else end).lstrip()


def _apart(
    name: str, alike: Mapping[Lines, list[str]], ends: Mapping[str, Lines], letters: int
) -> Lines:
    others = [one for one in alike[ends[name]] if one != name]
    differs = max(_in_common(name, one) for one in others)
    begins = name.rfind(" ", 0, differs) + 1
    if differs - begins > letters // 2:
        begins = differs
    part = name[begins : begins + letters - 2]
    more = CUT if begins + len(part) < len(name) else ""
    return ends[name][0], f"{CUT}{part.rstrip()}{more}"


def _in_common(one: str, other: str) -> int:
    """How many letters both begin with."""
    pairs = zip(one, other, strict=False)
    return next((at for at, (this, that) in enumerate(pairs) if this != that), len(one))
