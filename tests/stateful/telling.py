"""How the stories are told: the same ones each time, and counted."""

import os
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import RuleBasedStateMachine

# The same stories each time, unless somebody wants others.
SEED = int(os.environ.get("STORY_SEED", "7"))
STEPS = 50
# A failure is told as short as can be, which takes minutes; NOSHRINK leaves it as it was found.
PHASES = [Phase.generate] if "NOSHRINK" in os.environ else [Phase.generate, Phase.shrink]
# Both machines run in one process, which counts what they told.
DONE: Counter[str] = Counter()
REFUSED: Counter[str] = Counter()


def told(machine: type[RuleBasedStateMachine], stories: int) -> Any:
    """The machine as a test that tells so many stories."""
    case = seed(SEED)(machine).TestCase
    case.settings = settings(
        max_examples=stories,
        stateful_step_count=STEPS,
        deadline=None,
        print_blob=True,
        phases=PHASES,
        suppress_health_check=list(HealthCheck),
    )
    return pytest.mark.usefixtures("database")(case)


def happened() -> int:
    """How many events there were, refused ones among them."""
    return DONE.total() + REFUSED.total()


def done_or_refused(
    what: str,
    allowed: bool,
    work: Callable[[], Any],
    refusals: Sequence[type[Exception]],
) -> Any:
    """What the work gives, where it is allowed; else it is refused, and nothing happens."""
    if allowed:
        result = work()
        DONE[what] += 1
        return result
    with pytest.raises(tuple(refusals)):
        work()
    REFUSED[what] += 1
    return None
