"""Whole numbers under rows at the least cost: the one place that asks the solver, HiGHS.

HiGHS reckons in binary numbers, within tolerances. So only whole numbers go in, whole numbers come
out, and what they cost is never read from it: whoever asks reckons that anew, exactly, and keeps no
answer that breaks a rule. What is taken from the solver is its bound, rounded down. It is loaded
when first asked, and works with one thread.
"""

import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from math import floor
from typing import Any, Final

# HiGHS stops a proof at this difference; costs are whole, so that less than one is none.
_HALF: Final = Fraction(49, 100)
_FINE: Final = Fraction(1, 10**7)
_LEAST_SECONDS: Final = Fraction(1, 20)
# What a row is worth is told in so many parts of one.
WORTH: Final = 1 << 20


@dataclass(slots=True)
class Program:
    """Columns from zero up, with their cost, and rows: the sum of each is at least its `least`."""

    costs: list[int] = field(default_factory=list)
    highest: list[int] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    starts: list[int] = field(default_factory=lambda: [0])
    columns: list[int] = field(default_factory=list)
    factors: list[int] = field(default_factory=list)
    least: list[int] = field(default_factory=list)

    def column(self, cost: int, highest: int, *, whole: bool = True) -> int:
        """A number from zero to `highest`; which column it is."""
        self.costs.append(cost)
        self.highest.append(highest)
        self.whole.append(whole)
        return len(self.costs) - 1

    def row(self, terms: Mapping[int, int], least: int) -> int:
        """The sum of factor times column is at least this; which row it is."""
        self.columns.extend(terms)
        self.factors.extend(terms.values())
        self.starts.append(len(self.columns))
        self.least.append(least)
        return len(self.least) - 1


@dataclass(frozen=True, slots=True)
class Found:
    """The best values found, if any, and what no answer can be cheaper than, if that is known."""

    values: tuple[int, ...] | None
    bound: int
    impossible: bool


def solve(
    program: Program,
    *,
    seconds: Fraction,
    within: Decimal = Decimal(0),
    start: Sequence[int] | None = None,
) -> Found:
    """The least cost, to proof or to a part `within` of it, or the best found in these seconds.

    `start` is an answer to begin from. No cost may be below zero, so that zero bounds them all.
    """
    began = time.monotonic_ns()
    found, told = _run(program, seconds, within, start)
    left = seconds - Fraction(time.monotonic_ns() - began, 10**9)
    rounded = program.whole.count(False) + 1
    if start is None or found.values is None or left <= 0:
        return found
    if _costs(program, found.values) <= told + rounded:
        return found
    # HiGHS (1.16) may make a start cheaper before it solves, and then give back the dearer one.
    again, _ = _run(program, left, within, None)
    return Found(again.values or found.values, max(again.bound, found.bound), again.impossible)


class Relaxation:
    """A program whose answers need not be whole, asked again and again within other bounds."""

    def __init__(self, program: Program) -> None:
        import highspy

        self._optimal = highspy.HighsModelStatus.kOptimal
        model = _model(program)
        model.integrality_ = []
        self._solver = _solver(model, {})

    def ask(self, bounds: Mapping[int, tuple[int, int]]) -> "Relaxed | None":
        """The cheapest with these columns between these bounds, or None if none is found."""
        for column, (lowest, highest) in bounds.items():
            self._solver.changeColBounds(column, lowest, highest)
        _begin(self._solver).join()
        if self._solver.getModelStatus() != self._optimal:
            return None
        answer = self._solver.getSolution()
        return Relaxed(
            tuple(round(value * WORTH) for value in answer.col_value),
            tuple(max(0, round(worth * WORTH)) for worth in answer.row_dual),
        )


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The values of columns, and what the cost would rise by if a row asked for one more; both in
    parts of WORTH, and no more exact than the solver is."""

    values: tuple[int, ...]
    worths: tuple[int, ...]


def _costs(program: Program, values: Sequence[int]) -> int:
    return sum(cost * value for cost, value in zip(program.costs, values, strict=True))


def _run(
    program: Program, seconds: Fraction, within: Decimal, start: Sequence[int] | None
) -> tuple[Found, Any]:
    """What is found, and what it costs by the solver's own word; that has none if time is over."""
    import highspy

    allowed = max(seconds, _LEAST_SECONDS)
    options = {
        "time_limit": _binary(allowed),
        "mip_rel_gap": _binary(Fraction(within)),
        "mip_abs_gap": _binary(_HALF),
        "mip_feasibility_tolerance": _binary(_FINE),
    }
    solver = _solver(_model(program), options)
    if start is not None:
        solution = highspy.HighsSolution()
        solution.col_value = list(start)
        solver.setSolution(solution)
    heard = _Heard(solver)
    # While it cuts it may not look at its time for long, so it is not waited for.
    running = _begin(solver)
    running.join(_binary(allowed + _LEAST_SECONDS))
    if running.is_alive():
        heard.over = True
        return Found(heard.values, heard.bound, False), 0
    info = solver.getInfo()
    told = info.objective_function_value
    if solver.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
        return Found(None, 0, True), told
    there = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    values = tuple(round(value) for value in solver.getSolution().col_value) if there else None
    return Found(values, _below(info.mip_dual_bound), False), told


def _begin(solver: Any) -> threading.Thread:
    """At work in a thread of its own: HiGHS keeps a scheduler for each thread that asks it, and
    has no answer where that was made for more threads than one."""
    running = threading.Thread(target=solver.run)
    running.start()
    return running


class _Heard:
    """What a solver that is at work has found so far."""

    def __init__(self, solver: Any) -> None:
        self.values: tuple[int, ...] | None = None
        self.bound = 0
        self.over = False
        solver.cbMipImprovingSolution.subscribe(self._better)
        solver.cbMipInterrupt.subscribe(self._asked)

    def _better(self, event: Any) -> None:
        self.values = tuple(round(value) for value in event.data_out.mip_solution)

    def _asked(self, event: Any) -> None:
        self.bound = max(self.bound, _below(event.data_out.mip_dual_bound))
        event.interrupt(self.over)


def _solver(model: Any, options: Mapping[str, Any]) -> Any:
    """A solver that says nothing and works alone. What an option is called changes with its
    releases: one that it does not know is an error of ours."""
    import highspy

    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    for name, value in {"output_flag": False, "threads": 1, **options}.items():
        if solver.setOptionValue(name, value) != highspy.HighsStatus.kOk:
            raise ValueError(f"HiGHS has no option {name} that may be {value}.")
    solver.passModel(model)
    return solver


def _model(program: Program) -> Any:
    import highspy

    model: Any = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(program.costs), len(program.least)
    model.col_cost_ = program.costs
    model.col_lower_, model.col_upper_ = [0] * len(program.costs), program.highest
    model.row_lower_ = program.least
    model.row_upper_ = [highspy.kHighsInf] * len(program.least)
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = program.starts
    model.a_matrix_.index_ = program.columns
    model.a_matrix_.value_ = program.factors
    kinds = highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger
    model.integrality_ = [kinds[whole] for whole in program.whole]
    return model


def _binary(value: Fraction) -> Any:
    """The nearest binary number, which is what an option takes."""
    return value.numerator / value.denominator


def _below(bound: Any) -> int:
    """The least whole cost that the bound allows; the solver's own error is given away."""
    if not abs(bound) < 10**18:
        return 0
    exact = Fraction(bound)
    return max(0, floor(exact - exact / 10**9 + 1 - Fraction(1, 100)))
