"""Who signs in to the demo."""

from typing import Final

from django.contrib.auth import get_user_model

from formulas.demo.history import MAKERS

# Known to everybody, and good for nothing but the demo. The names begin with "demo-" so that no
# co-op that is opened later takes one of these people for one of its own.
PASSWORD: Final = "harbour-demo-only"  # noqa: S105 - public on purpose
COORDINATOR: Final = "demo-coordinator"
OWNERS: Final = {key: f"demo-{key}" for key in MAKERS}
PEOPLE: Final = (*OWNERS.values(), COORDINATOR)


def are_there() -> bool:
    """Whether the demo was loaded."""
    return get_user_model().objects.filter(username=COORDINATOR).exists()
