"""How the tests run while `deploy/mutate` asks, for every changed place, whether they notice it.

One that fails is enough. So those of a worked value come first, and a property is not searched
for the smallest example that breaks it; it is tried on fewer examples than in a run of the tests,
the same for every place. What is noticed so is noticed by the whole all the more.
"""

import hypothesis
import pytest

EXAMPLES = 30


@pytest.hookimpl(trylast=True)
def pytest_configure() -> None:
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


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Worked values before properties."""
    items.sort(key=lambda item: getattr(getattr(item, "obj", None), "is_hypothesis_test", False))
