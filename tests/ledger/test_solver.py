"""Whole numbers under rows: against trying everything, and where the solver does not keep time."""

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal as D
from fractions import Fraction
from itertools import product
from random import Random
from threading import Event, Thread
from types import SimpleNamespace
from typing import Any

import highspy
import pytest

from ledger import solver
from ledger.solver import WORTH, Found, Program, Relaxation, Relaxed, solve

PLENTY = Fraction(600)
Rows = Sequence[tuple[dict[int, int], int]]


def program_of(costs: Sequence[int], highest: Sequence[int], rows: Rows) -> Program:
    program = Program()
    places = [program.column(*each) for each in zip(costs, highest, strict=True)]
    assert places == list(range(len(costs)))
    assert [program.row(*each) for each in rows] == list(range(len(rows)))
    return program


def least(costs: Sequence[int], highest: Sequence[int], rows: Rows) -> int | None:
    """The least cost, by trying every number of every column."""
    return min(
        (
            sum(cost * value for cost, value in zip(costs, values, strict=True))
            for values in product(*(range(most + 1) for most in highest))
            if keeps(values, rows)
        ),
        default=None,
    )


def keeps(values: Sequence[int], rows: Rows) -> bool:
    return all(sum(f * values[c] for c, f in terms.items()) >= low for terms, low in rows)


def test_it_is_the_cheapest_there_is_and_proven() -> None:
    """With a start, an answer that is any, and without."""
    r, impossible = Random(1), 0
    for _ in range(120):
        costs = [r.randint(0, 30) for _ in range(4)]
        highest = [r.randint(0, 4) for _ in range(4)]
        rows = [
            ({c: r.randint(-3, 9) for c in r.sample(range(4), r.randint(1, 4))}, r.randint(-5, 25))
            for _ in range(r.randint(0, 3))
        ]
        cost = least(costs, highest, rows)
        found = solve(program_of(costs, highest, rows), seconds=PLENTY)
        if cost is None:
            impossible += 1
            assert found == Found(None, 0, True)
            continue
        every = [v for v in product(*(range(n + 1) for n in highest)) if keeps(v, rows)]
        begun = solve(program_of(costs, highest, rows), seconds=PLENTY, start=r.choice(every))
        for each in (found, begun):
            assert each.values in every
            assert sum(n * c for n, c in zip(costs, each.values or (), strict=True)) == cost
            assert (each.bound, each.impossible) == (cost, False)
    assert 10 < impossible < 60


def test_a_number_that_need_not_be_whole_is_rounded() -> None:
    """The second is wanted once, since nine of the first are 36 of 38; 8.75 of the first are then
    enough, for 35, and 9 the nearest."""
    program = Program()
    first, second = program.column(4, 9, whole=False), program.column(10, 2)
    program.row({first: 4, second: 3}, 38)
    assert solve(program, seconds=PLENTY) == Found((9, 1), 45, False)


def test_an_answer_is_as_near_as_was_asked() -> None:
    r = Random(3)
    costs = [r.randint(100, 999) for _ in range(30)]
    sizes = {c: costs[c] + r.randint(-40, 40) for c in range(30)}
    program = program_of(costs, [3] * 30, [(sizes, sum(sizes.values()) + 17)])
    for within in (D("0.5"), D("0.02")):
        near = solve(program, seconds=PLENTY, within=within, start=[2] * 30)
        assert near.values is not None
        cost = sum(c * v for c, v in zip(program.costs, near.values, strict=True))
        assert 0 < near.bound <= cost <= near.bound + within * cost + 1


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The solvers that are made, in their order."""
    found = []

    class Remembered(highspy.Highs):
        def __init__(self) -> None:
            super().__init__()  # type: ignore[no-untyped-call]
            found.append(self)

    monkeypatch.setattr(highspy, "Highs", Remembered)
    return found


def option(one: Any, name: str) -> object:
    return one.getOptionValue(name)[1]


def test_the_solver_is_silent_and_alone_and_is_told_when_to_end(
    made: list[Any], capfd: pytest.CaptureFixture[str]
) -> None:
    program = program_of([3, 4], [9, 9], [({0: 2, 1: 3}, 7)])
    solve(program, seconds=Fraction(90), within=D("0.25"))
    solve(program, seconds=Fraction(-1))
    Relaxation(program).ask({})
    assert len(made) == 3
    for each in made:
        assert option(each, "threads") == 1
        assert option(each, "output_flag") is False
    assert [option(each, "time_limit") for each in made[:2]] == [90, 0.05]
    assert [option(each, "mip_rel_gap") for each in made[:2]] == [0.25, 0]
    assert [option(each, "mip_abs_gap") for each in made[:2]] == [0.49, 0.49]
    assert option(made[0], "mip_feasibility_tolerance") == 1e-7
    assert capfd.readouterr() == ("", "")


def test_an_option_that_the_solver_does_not_know_is_an_error(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(highspy.Highs, "setOptionValue", lambda *_: highspy.HighsStatus.kError)
    with pytest.raises(ValueError, match=r"^HiGHS has no option output_flag that may be False\.$"):
        solve(Program(), seconds=PLENTY)


class Slow:
    """A solver that goes on until it is told to end. What it finds is found as soon as somebody
    listens, so that no test depends on how soon its thread comes to run."""

    def __init__(self, ending: Event, *, finds: bool) -> None:
        self.heard: list[bool] = []
        self.ended = Event()
        self.cbMipImprovingSolution = SimpleNamespace(subscribe=self._improving)
        self.cbMipInterrupt = SimpleNamespace(subscribe=self._interrupting)
        self._ending = ending
        self._finds = finds

    def __call__(self) -> "Slow":
        return self

    def __getattr__(self, name: str) -> Callable[..., object]:
        assert name in {"setOptionValue", "passModel", "setSolution"}
        return lambda *_: highspy.HighsStatus.kOk

    def _improving(self, hear: Callable[[object], None]) -> None:
        self._better = hear

    def _interrupting(self, hear: Callable[[object], None]) -> None:
        self._ask = hear
        if self._finds:
            for values in ([1.0, 3.0], [1.9999999, 1.0]):
                data = SimpleNamespace(mip_solution=values)
                self._better(SimpleNamespace(data_out=data))
            for bound in (3.0, 8.0, 7.0):
                self._asked(bound)

    def run(self) -> None:
        self._ending.wait(60)
        try:
            self._asked(float("-inf"))
        finally:
            self.ended.set()

    def _asked(self, bound: float) -> None:
        data = SimpleNamespace(mip_dual_bound=bound)
        self._ask(SimpleNamespace(data_out=data, interrupt=self.heard.append))


@pytest.fixture
def ending() -> Iterator[Event]:
    event = Event()
    yield event
    event.set()


def test_a_solver_that_does_not_end_is_left_with_what_it_has_found(
    ending: Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It hears that it is over when it asks for the next time."""
    slow = Slow(ending, finds=True)
    monkeypatch.setattr(highspy, "Highs", slow)
    program = program_of([3, 4], [9, 9], [({0: 2, 1: 3}, 7)])
    found = solve(program, seconds=Fraction(0), start=[9, 9])
    assert found == Found((2, 1), 8, False)
    assert slow.heard == [False] * 3
    ending.set()
    assert slow.ended.wait(60)
    assert slow.heard[3:] == [True]


def test_a_solver_that_found_nothing_in_time_says_so(
    ending: Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(highspy, "Highs", Slow(ending, finds=False))
    program = program_of([3, 4], [9, 9], [({0: 2, 1: 3}, 7)])
    assert solve(program, seconds=Fraction(0)) == Found(None, 0, False)


def test_a_solver_that_gives_up_has_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(highspy.Highs, "run", lambda _: None)
    program = program_of([3, 4], [9, 9], [({0: 2, 1: 3}, 7)])
    assert solve(program, seconds=PLENTY) == Found(None, 0, False)


class Answers:
    """In place of the solver: what it gives back, and with how much time it was asked for that."""

    def __init__(self, *answers: tuple[Found, float], takes: int = 0) -> None:
        self.asked: list[tuple[Fraction, D, object]] = []
        self._answers = list(answers)
        self._takes = takes
        self.now = 5 * 10**9

    def __call__(
        self, program: Program, seconds: Fraction, within: D, start: object
    ) -> tuple[Found, float]:
        assert isinstance(program, Program)
        self.asked.append((seconds, within, start))
        self.now += self._takes * 10**9
        return self._answers.pop(0)


def ask(
    answers: Answers, monkeypatch: pytest.MonkeyPatch, start: Sequence[int] | None = (9, 9, 9)
) -> Found:
    """Of a program with one column that need not be whole: so two may be lost by rounding."""
    monkeypatch.setattr(solver, "_run", answers)
    monkeypatch.setattr(solver, "time", SimpleNamespace(monotonic_ns=lambda: answers.now))
    program = Program()
    program.column(3, 9)
    program.column(4, 9, whole=False)
    program.column(5, 9)
    return solve(program, seconds=Fraction(8), within=D("0.1"), start=start)


def test_an_answer_dearer_than_told_is_asked_for_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """(2, 3, 0) costs 18, by the solver's word 15. It is asked without the start, for the rest of
    the time."""
    dearer = Found((2, 3, 0), 10, False)
    answers = Answers((dearer, 15), (Found((1, 3, 0), 12, False), 15), takes=7)
    assert ask(answers, monkeypatch) == Found((1, 3, 0), 12, False)
    assert answers.asked == [(Fraction(8), D("0.1"), (9, 9, 9)), (Fraction(1), D("0.1"), None)]
    # The higher of both bounds, and the answer that was there where no other is found.
    answers = Answers((dearer, 15), (Found(None, 7, False), 0), takes=7)
    assert ask(answers, monkeypatch) == Found((2, 3, 0), 10, False)
    assert ask(Answers((dearer, 15), (Found(None, 0, True), 0)), monkeypatch).impossible


@pytest.mark.parametrize(
    ("found", "by_its_word", "start", "takes"),
    [
        (Found((2, 3, 0), 10, False), 16, (9, 9, 9), 0),
        (Found((2, 3, 0), 10, False), 18, (9, 9, 9), 0),
        (Found((2, 3, 0), 10, False), 15, None, 0),
        (Found((2, 3, 0), 10, False), 15, (9, 9, 9), 8),
        (Found(None, 10, False), 0, (9, 9, 9), 0),
    ],
)
def test_it_is_asked_once_where_nothing_else_can_come_of_it(
    found: Found,
    by_its_word: int,
    start: Sequence[int] | None,
    takes: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As told but for the rounding, no start, no time left, or no answer."""
    answers = Answers((found, by_its_word), takes=takes)
    assert ask(answers, monkeypatch, start) == found
    assert len(answers.asked) == 1


def test_what_rows_are_worth() -> None:
    """Two columns at 3 and 2: their sum is at least 4, and the first with thrice the second at
    least 6. Four of the second are cheapest, and one more of the first row is one more of them."""
    relaxed = Relaxation(program_of([3, 2], [9, 9], [({0: 1, 1: 1}, 4), ({0: 1, 1: 3}, 6)]))
    found = relaxed.ask({})
    assert found is not None
    assert (found.values, found.worths) == ((0, 4 * WORTH), (2 * WORTH, 0))
    # With one of the second at most, three of the first are wanted.
    bounded = relaxed.ask({0: (0, 3), 1: (0, 1)})
    assert bounded is not None
    assert bounded.values == (3 * WORTH, WORTH)
    assert relaxed.ask({0: (0, 2)}) is None
    again = relaxed.ask({0: (2, 9), 1: (0, 9)})
    assert again is not None
    assert (again.values, again.worths) == ((2 * WORTH, 2 * WORTH), (2 * WORTH, 0))


def test_an_answer_in_parts() -> None:
    """Three of it hold 7: a third of the cost of 6 for each that is asked for more."""
    relaxed = Relaxation(program_of([6], [9], [({0: 3}, 7), ({0: 1}, 1)])).ask({})
    assert relaxed is not None
    assert relaxed.values == (round(Fraction(7 * WORTH, 3)),)
    assert relaxed.worths == (2 * WORTH, 0)


def test_it_is_asked_in_a_thread_that_has_asked_it_with_more_threads() -> None:
    """HiGHS itself refuses there: its schedulers belong to threads, with their number."""
    program = program_of([3, 4], [9, 9], [({0: 2, 1: 3}, 7)])
    answers: list[object] = []

    def asked_before() -> None:
        for threads in (2, 1):
            other = highspy.Highs()  # type: ignore[no-untyped-call]
            other.setOptionValue("output_flag", False)
            other.setOptionValue("threads", threads)
            other.addVar(0, 9)
            answers.append(other.run())
        answers.extend((Relaxation(program).ask({}), solve(program, seconds=PLENTY)))

    asking = Thread(target=asked_before)
    asking.start()
    asking.join()
    first, refused, relaxed, found = answers
    assert (first, refused) == (highspy.HighsStatus.kOk, highspy.HighsStatus.kError)
    assert isinstance(relaxed, Relaxed)
    assert found == Found((2, 1), 10, False)


@pytest.mark.parametrize(
    ("bound", "whole"),
    [
        (12.0, 12),
        (11.51, 12),
        (11.02, 12),
        (11.015, 12),
        (11.00995, 11),
        (0.0, 0),
        (-5.0, 0),
        (1e12, 10**12 - 1000),
        (1e10 + 0.5, 10**10 - 9),
        (float("inf"), 0),
        (float("-inf"), 0),
        (float("nan"), 0),
        (1e18, 0),
        (-1e18, 0),
        (9e17, 9 * 10**17 - 9 * 10**8),
    ],
)
def test_a_bound_is_rounded_up_unless_that_is_within_the_error(bound: float, whole: int) -> None:
    assert solver._below(bound) == whole
