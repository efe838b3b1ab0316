"""What if a material cost more: ten thousand formulas of twelve lines, five levels deep.

Most of them lose something in the making, which all three ways of reckoning heed.
"""

import random
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Any
from uuid import UUID

import psycopg

from tests.benchmarks.bench import Options, Stock, analyze, as_superuser, stocked
from tests.benchmarks.report import Row, in_turn, say
from tests.running import Running

FORMULAS, MATERIALS, LINES, DEPTH = 10_000, 500, 12, 5
FLOOR_TARGET, RECURSION_TARGET, BUILD_TARGET = 3.0, 50, 2.0
BILLIONTH = 1e-9
# How many of the formulas stand on each level.
LEVELS = (40, 25, 15, 10, 6, 4)
Lines = list[tuple[bool, int, Any]]


@dataclass(frozen=True)
class Recipe:
    """Lines of (whether it is a formula, which one, percent), and the percent that is left."""

    lines: Lines
    left: Any

    def in_floats(self) -> "Recipe":
        """The same in binary numbers, which Python reckons with fastest."""
        return Recipe(
            [(inner, one, float(part)) for inner, one, part in self.lines], float(self.left)
        )


def measure(server: Running, options: Options) -> list[Row]:
    """Ours beside the least that NumPy can do with arrays in memory, and beside recursion."""
    stock = stocked(server, MATERIALS, 1)
    recipes = random_recipes()
    say(f"  writing {FORMULAS:,} formulas …")
    write(server, stock, recipes)
    analyze(server)
    return [*_asked(stock, recipes, options), _built(stock, options)]


def random_recipes() -> list[Recipe]:
    """Formulas that name only those of earlier levels; up to 8 % of each is lost."""
    rng = random.Random(11)
    level = sorted(rng.choices(range(DEPTH + 1), weights=LEVELS, k=FORMULAS))
    first = [level.index(n) for n in range(DEPTH + 1)] + [FORMULAS]
    made = []
    for number in range(FORMULAS):
        inner: set[int] = set()
        if level[number]:
            below = level[number] - 1
            inner = {rng.randrange(first[below], first[below + 1])}
            inner |= {rng.randrange(first[below + 1]) for _ in range(rng.randint(0, 2))}
        bought = rng.sample(range(MATERIALS), LINES - len(inner))
        kids = [(True, one) for one in sorted(inner)] + [(False, one) for one in bought]
        cuts = [0, *sorted(rng.sample(range(1, 10_000), LINES - 1)), 10_000]
        percents = [Decimal(end - start).scaleb(-2) for start, end in pairwise(cuts)]
        lines = [(*kid, one) for kid, one in zip(kids, percents, strict=True)]
        made.append(Recipe(lines, 100 - Decimal(rng.randint(0, 80)).scaleb(-1)))
    return made


def write(server: Running, stock: Stock, recipes: list[Recipe]) -> None:
    """The formulas in their tables, as the verb would leave them, copied in at once.

    The lines come in without the trigger that looks for cycles, which looks once for each version.
    """
    with psycopg.connect(as_superuser(server), autocommit=True) as admin:
        admin.execute("alter table formulas_line disable trigger user")
        with admin.transaction():
            for rows in _rows(stock, recipes):
                _copy(admin, rows)
        admin.execute("alter table formulas_line enable trigger user")


def _copy(admin: psycopg.Connection[Any], rows: Sequence[Any]) -> None:
    """Rows of one model into its table; the database fills what it fills by itself."""
    from django.db import connection
    from django.db.models import NOT_PROVIDED

    meta = rows[0]._meta
    fields = [
        one for one in meta.concrete_fields if not one.generated and one.db_default is NOT_PROVIDED
    ]
    columns = ", ".join(one.column for one in fields)
    with admin.cursor().copy(f"copy {meta.db_table} ({columns}) from stdin") as copy:
        for row in rows:
            copy.write_row(
                [one.get_db_prep_save(one.pre_save(row, True), connection) for one in fields]
            )


def _rows(stock: Stock, recipes: list[Recipe]) -> Iterator[list[Any]]:
    from formulas.models import Formula, FormulaVersion, Line, Phase
    from ledger.models import Material

    own = {"coop_id": stock.coop_id, "maker_id": stock.maker_id}
    made = [
        Material(**own, name=f"Base {n}", measured_by="mass", cost_class="made")
        for n in range(len(recipes))
    ]
    yield made
    formulas = [Formula(**own, name=one.name, material_id=one.id) for one in made]
    yield formulas
    versions = [
        FormulaVersion(
            **own,
            formula_id=one.id,
            number=1,
            process_loss_percent=100 - recipe.left,
            person_id=stock.person_id,
        )
        for one, recipe in zip(formulas, recipes, strict=True)
    ]
    yield versions
    phases = [Phase(**own, version_id=one.id, position=0, name="A") for one in versions]
    yield phases
    yield [
        Line(
            **own,
            version_id=versions[n].id,
            phase_id=phases[n].id,
            position=place,
            kind="fixed",
            component_id=formulas[which].id if nested else None,
            material_id=None if nested else stock.materials[which],
            percent=percent,
        )
        for n, recipe in enumerate(recipes)
        for place, (nested, which, percent) in enumerate(recipe.lines)
    ]


def recursive(recipes: list[Recipe], costs: list[Any]) -> list[Any]:
    """The cost of every formula as it is told in words, each worked out once."""
    known: dict[int, Any] = {}

    def cost(which: int) -> Any:
        if which not in known:
            parts = (
                (cost(one) if nested else costs[one]) * percent
                for nested, one, percent in recipes[which].lines
            )
            known[which] = sum(parts) / recipes[which].left
        return known[which]

    return [cost(which) for which in range(len(recipes))]


def level_product(recipes: list[Recipe]) -> tuple[Callable[[Any], Any], int]:
    """The floor: c = M p, then c = M p + F c once for each level, on arrays made beforehand."""
    from scipy import sparse

    def matrix(nested: bool, width: int) -> Any:
        found = [
            (row, which, float(percent) / float(recipe.left))
            for row, recipe in enumerate(recipes)
            for inner, which, percent in recipe.lines
            if inner is nested
        ]
        rows, columns, values = zip(*found, strict=True)
        return sparse.csr_matrix((values, (rows, columns)), shape=(len(recipes), width))

    inner, outer = matrix(True, len(recipes)), matrix(False, MATERIALS)

    def product(costs: Any) -> Any:
        base = outer @ costs
        found = base
        for _ in range(DEPTH):
            found = base + inner @ found
        return found

    return product, inner.nnz + outer.nnz


def _asked(stock: Stock, recipes: list[Recipe], options: Options) -> list[Row]:
    import numpy as np

    from formulas.rollup import as_costs
    from formulas.what_if import levels_of
    from ledger.access import acting_as

    rng = random.Random(12)
    costs = [Decimal(rng.randint(50, 90_000)).scaleb(-5) for _ in range(MATERIALS)]
    costs[7] = Decimal("0.12345")
    by_id = {id: Fraction(one) for id, one in zip(stock.materials, costs, strict=True)}
    with acting_as(stock.actor()):
        levels = levels_of(stock.actor())
    changed = stock.materials[7]
    product, _ = level_product(recipes)
    numbers = np.array([float(one) for one in costs])
    ours_in = as_costs(levels.materials, by_id)
    plain = [recipe.in_floats() for recipe in recipes]
    as_floats = numbers.tolist()
    _must_agree(levels, recipes, costs, ours_in)
    assert len(levels.touched([changed]))

    cases = {
        "ours": lambda: _seconds(lambda: levels.rolled(ours_in), 50),
        "floor": lambda: _seconds(lambda: product(numbers), 50),
        "recursion": lambda: _seconds(lambda: recursive(plain, as_floats), 1),
        "answered": lambda: _seconds(lambda: _answer(stock, changed), 3),
    }
    found = in_turn(cases, options.rounds)
    return _rows_of(found, len(levels.touched([changed])))


def _rows_of(found: dict[str, float], changed: int) -> list[Row]:
    beside, faster = found["ours"] / found["floor"], found["recursion"] / found["ours"]
    work = f"what-if, {FORMULAS:,} formulas x {LINES} lines, {DEPTH} levels, losses"
    ours, recursion = f"{found['ours'] * 1000:.2f} ms", f"{found['recursion'] * 1000:.0f} ms"
    return [
        Row(
            f"{work}: NumPy by levels",
            ours,
            f"{found['floor'] * 1000:.2f} ms",
            f"{beside:.2f}",
            f"<= {FLOOR_TARGET:.0f}",
            beside <= FLOOR_TARGET,
        ),
        Row(
            f"{work}: recursion in Python",
            ours,
            recursion,
            f"{faster:.0f}",
            f">= {RECURSION_TARGET}",
            faster >= RECURSION_TARGET,
        ),
        Row(
            f"the whole answer, with present costs and {changed:,} formulas that change: "
            "recursion in Python",
            f"{found['answered'] * 1000:.0f} ms",
            recursion,
            f"{found['answered'] / found['recursion']:.2f}",
        ),
    ]


def _answer(stock: Stock, changed: UUID) -> None:
    """What would change if a material were a tenth dearer."""
    from formulas.what_if import Change, what_if
    from ledger.access import acting_as

    with acting_as(stock.actor()):
        what_if(stock.actor(), changes=[Change(changed, change_percent=Decimal(10))])


def _must_agree(levels: Any, recipes: list[Recipe], costs: list[Decimal], ours_in: Any) -> None:
    """The arrays say what decimals say, to a billionth."""
    exact = sorted(recursive(recipes, costs))
    for number, one in zip(sorted(levels.rolled(ours_in).tolist()), exact, strict=True):
        if abs(number / float(one) - 1) > BILLIONTH:
            raise AssertionError(f"{number} is not {one}")


def _built(stock: Stock, options: Options) -> Row:
    from django.db import connection

    from formulas import what_if
    from formulas.rollup import level_order
    from ledger.access import acting_as

    actor = stock.actor()

    def read() -> list[tuple[UUID, UUID | None, UUID | None, Any]]:
        with acting_as(actor), connection.cursor() as cursor:
            cursor.execute(what_if.LINES, [actor.coop_id, actor.maker])
            return list(cursor.fetchall())

    cases = {
        "ours": lambda: _seconds(lambda: level_order(read()), 1),
        "floor": lambda: _seconds(read, 1),
    }
    found = in_turn(cases, options.rounds)
    ratio = found["ours"] / found["floor"]
    return Row(
        f"arrays of {FORMULAS:,} formulas from the database: reading their lines",
        f"{found['ours'] * 1000:.0f} ms",
        f"{found['floor'] * 1000:.0f} ms",
        f"{ratio:.2f}",
        f"<= {BUILD_TARGET:.0f}",
        ratio <= BUILD_TARGET,
    )


def _seconds(work: Callable[[], object], times: int) -> float:
    """The median of so many runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return statistics.median(found)
