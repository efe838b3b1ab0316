"""Rows of a form in the order that their own numbers say."""

from collections.abc import Mapping

from api.pages.whole_numbers import whole_in


def in_order(
    data: Mapping[str, str], name: str, *, group: str, settled: int = 0, most: int
) -> dict[str, str]:
    """What was typed into rows named `name`, with the rows where they belong.

    The number of a row is typed as its "place": one that was changed puts the row there, and one
    that says no place stays as it was typed. A row beyond the `settled` ones whose `group` stands
    further up already goes to the end of that.
    """
    count = max(1, whole_in(data.get(name, ""), most, otherwise=1))
    order = sorted(range(count), key=lambda row: _key(row, data.get(f"{name}-{row}-place", "")))
    groups = [data.get(f"{name}-{row}-{group}", "").strip() for row in range(count)]
    for row in [row for row in order if row >= settled and groups[row]]:
        moved = _key(row, data.get(f"{name}-{row}-place", "")) != (row, 1)
        before = order[: order.index(row)]
        alike = [place for place, one in enumerate(before) if groups[one] == groups[row]]
        if alike and not moved:
            order.remove(row)
            order.insert(alike[-1] + 1, row)
    rest = {key: value for key, value in data.items() if not _of_row(key, name)}
    for place, row in enumerate(order):
        before_it, here = f"{name}-{row}-", f"{name}-{place}-"
        rest |= {
            here + key.removeprefix(before_it): value
            for key, value in data.items()
            if key.startswith(before_it) and not (key == f"{before_it}place" and _is_place(value))
        }
    return rest


def _is_place(typed: str) -> bool:
    """Whether it says where a row goes; nothing says that it stays."""
    typed = typed.strip()
    return not typed or (typed.isdecimal() and len(typed) < 4)


def _key(row: int, typed: str) -> tuple[int, int]:
    """Where a row sorts: one that comes up goes before what stood there, one that goes down after.

    What is no number leaves the row where it is.
    """
    typed = typed.strip()
    wanted = int(typed) - 1 if typed and _is_place(typed) else row
    return wanted, 1 + (wanted > row) - (wanted < row)


def _of_row(key: str, name: str) -> bool:
    parts = key.split("-")
    return len(parts) > 2 and parts[0] == name and parts[1].isdecimal()
