"""Whether the tests notice a change: each is tried in a process of its own, forked from one that
has read all tests and knows which of them reach what.

One test that fails is enough. So the quickest come first, and a property is not searched for the
smallest example that breaks it; it is tried on fewer examples than in a run of the tests, the same
for every change. What is noticed so is noticed by the whole all the more.
"""

import gc
import os
import resource
import signal
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from math import ceil
from typing import NoReturn

import hypothesis
import pytest
from mutmut.mutation.trampoline import set_mutant_under_test
from mutmut.state import state
from mutmut.utils.format_utils import mangled_name_from_mutant_name

from tests.changing import ChangedFile

EXAMPLES = 30
# A changed loop may never end, or never stop growing. Seconds are the processor's own: a busy
# machine is no reason to have noticed anything.
TIMES_AS_LONG, AND_SECONDS = 5, 2
BYTES = 6 << 30


class Outcome(Enum):
    """What became of a change."""

    NOTICED = auto()
    LIVED = auto()
    TOO_LONG = auto()


@dataclass(frozen=True, slots=True)
class Known:
    """A test, how long it takes, and the functions it comes through."""

    item: pytest.Item
    seconds: float
    reached: frozenset[str]


class Mutating:
    """Run by pytest in place of running the tests. `tell` hears of each file when it is done."""

    def __init__(
        self,
        asked: Mapping[ChangedFile, Sequence[str]],
        tell: Callable[[ChangedFile, dict[str, Outcome]], None],
    ) -> None:
        self._asked = asked
        self._tell = tell
        self._failure: pytest.TestReport | None = None

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self) -> None:
        """Before any test is read: a property takes its settings when it is."""
        hypothesis.settings.register_profile(
            "mutating",
            max_examples=EXAMPLES,
            phases=(hypothesis.Phase.explicit, hypothesis.Phase.generate),
            derandomize=True,
            database=None,
            deadline=None,
            suppress_health_check=[hypothesis.HealthCheck.too_slow],
        )
        hypothesis.settings.load_profile("mutating")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test failed, or what it stands on could not be set up."""
        if report.failed:
            self._failure = report

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """All tests once, with nothing changed; then every change."""
        tests = sorted(map(self._known, session.items), key=lambda test: test.seconds)
        # What is there already is left alone, so that no fork has to copy it.
        gc.freeze()
        if self._outcome("", tests) is not Outcome.LIVED:
            raise pytest.UsageError("In a fork the tests fail with nothing changed.")
        for file, changes in self._asked.items():
            self._tell(file, {change: self._among(tests, change) for change in changes})
        return True

    def _known(self, item: pytest.Item) -> Known:
        set_mutant_under_test("stats")
        reached = state()._stats
        reached.clear()
        began = time.process_time()
        if self._fails(item):
            raise pytest.UsageError(f"{item.nodeid} fails with nothing changed: {self._failure}")
        return Known(item, time.process_time() - began, frozenset(reached))

    def _fails(self, item: pytest.Item) -> bool:
        self._failure = None
        item.ihook.pytest_runtest_protocol(item=item, nextitem=None)
        return self._failure is not None

    def _among(self, tests: list[Known], change: str) -> Outcome:
        function = mangled_name_from_mutant_name(change)
        return self._outcome(change, [test for test in tests if function in test.reached])

    def _outcome(self, change: str, tests: list[Known]) -> Outcome:
        child = os.fork()
        if not child:
            self._try(change, tests)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        if code == -signal.SIGXCPU:
            return Outcome.TOO_LONG
        return Outcome.NOTICED if code else Outcome.LIVED

    def _try(self, change: str, tests: list[Known]) -> NoReturn:
        noticed = True
        try:
            set_mutant_under_test(change)
            _at_most(resource.RLIMIT_AS, BYTES)
            noticed = any(self._fails_in_time(test) for test in tests)
        finally:
            os._exit(noticed)

    def _fails_in_time(self, test: Known) -> bool:
        until = time.process_time() + TIMES_AS_LONG * test.seconds + AND_SECONDS
        _at_most(resource.RLIMIT_CPU, ceil(until))
        return self._fails(test.item)


def _at_most(what: int, limit: int) -> None:
    """The system ends whoever takes more time, and gives no more memory."""
    resource.setrlimit(what, (limit, resource.getrlimit(what)[1]))
