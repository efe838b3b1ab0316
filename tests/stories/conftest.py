"""A maker alone; or five with a coordinator, and a round that they have ordered in together."""

from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.api.people import maker_id, member
from tests.running import Running
from tests.stories.buying import BENCHES, LATER, PLEDGES, offered, reckoned


@pytest.fixture(scope="module")
def maker(server: Running) -> Client:
    """One for all tests of a file; each buys materials of its own."""
    return open_coop(server, "North Bench")["North Bench"]


@pytest.fixture(scope="module")
def coop(server: Running) -> Coop:
    return open_coop(server, *BENCHES)


@pytest.fixture(scope="module")
def coordinator(coop: Coop) -> Client:
    return member(coop, None, "coordinator")


@pytest.fixture(scope="module")
def goods(coordinator: Client) -> dict[str, str]:
    return offered(coordinator)


@pytest.fixture(scope="module")
def opened(coordinator: Client, coop: Coop) -> str:
    """Mill Bench orders for all."""
    buyer = str(maker_id(coop, "Mill Bench"))
    body = {"name": "Spring", "closes_at": LATER, "buyer": buyer, "note": "by the lorry"}
    return str(coordinator.post("order-rounds", body).made()["id"])


@pytest.fixture(scope="module")
def results(
    coop: Coop, coordinator: Client, goods: dict[str, str], opened: str
) -> dict[str, dict[str, Any]]:
    """All have pledged, the coordinator has closed, and the worker has reckoned; by who looks."""
    for bench, pledges in PLEDGES.items():
        for pledge in pledges:
            body = {**pledge, "material": goods[pledge["material"]]}
            coop[bench].post(f"order-rounds/{opened}/pledges", body).made()
    coordinator.post(f"order-rounds/{opened}/closing", {}).made()
    found = {"coordinator": reckoned(coordinator, opened)}
    return found | {bench: reckoned(coop[bench], opened) for bench in BENCHES}
