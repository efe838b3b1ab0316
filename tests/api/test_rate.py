"""A limit on requests: who is over it is told when to come back, and nobody else suffers."""

import json
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from redis import Redis

from deploy import embedded
from tests.api.client import PASSWORD, Client, open_coop, sign_in
from tests.migrated import migrated
from tests.running import Running

LIMIT = 40
# More than a limit's worth, since a minute may end among them; then the count begins again.
TRIES = 2 * LIMIT + 5


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A server that allows few requests a minute."""
    data = migrated(tmp_path_factory.mktemp("few") / "server")
    running = Running(data, {"STILLROOM_RATE_PER_MINUTE": str(LIMIT)})
    yield running.wait_ready()
    running.discard()


@pytest.fixture
def strict(few: Running) -> Running:
    """The same, where nothing was counted yet."""
    Redis.from_url(embedded.redis_url(few.data)).flushdb()
    return few


def test_above_the_rate_is_refused(strict: Running) -> None:
    coop = open_coop(strict, "North Bench")
    north = coop["North Bench"]
    other = Client(strict.port, sign_in(strict, coop.owners["North Bench"]).made()["token"])
    answers = [north.get("suppliers") for _ in range(LIMIT + 5)]
    first = next(n for n, answer in enumerate(answers) if answer.status == 429)
    # A minute may have ended among them; then the count began again.
    assert first >= LIMIT / 4
    refused = answers[first]
    refused.refused(429, "rate_limited")
    assert 1 <= int(refused.headers["Retry-After"]) <= 60
    assert refused.headers["RateLimit-Policy"] == f'"default";q={LIMIT};w=60'
    assert refused.headers["RateLimit"].startswith('"default";r=0;t=')
    assert other.get("suppliers").status == 200, "each token has a rate of its own"
    # Who is alive and ready is asked by machines, which are not counted.
    assert {north.raw("GET", "/healthz").status for _ in range(LIMIT + 5)} == {200}


def test_tokens_that_are_made_up_are_counted_by_address(strict: Running) -> None:
    coop = open_coop(strict, "North Bench")
    answers = [Client(strict.port, f"made up {n}").get("suppliers") for n in range(TRIES)]
    assert answers[0].status == 401
    assert {answer.status for answer in answers} == {401, 429}
    limited = next(answer for answer in answers if answer.status == 429)
    limited.refused(429, "rate_limited")
    assert 1 <= int(limited.headers["Retry-After"]) <= 60
    assert coop["North Bench"].get("suppliers").status == 200, "who is signed in goes on"


def test_signing_in_is_counted_by_address_whatever_is_said_beside_it(strict: Running) -> None:
    coop = open_coop(strict, "North Bench")
    body = json.dumps({"username": f"nobody-{uuid.uuid4()}", "password": PASSWORD}).encode()
    nobody = Client(strict.port)
    answers = [
        nobody.raw("POST", "tokens", b"{}" if n else body, {"Authorization": f"Bearer {n}"})
        for n in range(TRIES)
    ]
    assert answers[0].status == 401
    assert {answer.status for answer in answers[1:]} == {422, 429}
    assert coop["North Bench"].get("suppliers").status == 200, "who is signed in goes on"


def test_requests_that_are_granted_several_at_once_are_all_counted(tmp_path: Path) -> None:
    limit = 80
    running = Running(migrated(tmp_path / "server"), {"STILLROOM_RATE_PER_MINUTE": str(limit)})
    try:
        north = open_coop(running.wait_ready(), "North Bench")["North Bench"]
        answers = [north.get("suppliers").status for _ in range(2 * limit + 10)]
    finally:
        running.discard()
    first = answers.index(429)
    # A minute may have ended among them; signing in and setting up have used a few.
    assert limit / 4 <= first <= 2 * limit
    assert set(answers) == {200, 429}
