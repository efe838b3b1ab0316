"""A co-op of two makers on the running server."""

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.running import Running


@pytest.fixture(scope="session")
def coop(server: Running) -> Coop:
    """Two makers who share a co-op and nothing else."""
    return open_coop(server, "North Bench", "Mill Bench")


@pytest.fixture(scope="session")
def north(coop: Coop) -> Client:
    """The owner of the one maker."""
    return coop["North Bench"]


@pytest.fixture(scope="session")
def mill(coop: Coop) -> Client:
    """The owner of the other."""
    return coop["Mill Bench"]
