"""A workshop for each story; whatever it did, the ledger must agree with itself at the end."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from deploy.embedded import Server

if TYPE_CHECKING:
    from tests.factories import Shelf, Workshop


@pytest.fixture
def shop(database: Server) -> "Iterator[Workshop]":
    # This file is read before Django is ready for models.
    from tests.factories import open_workshop

    workshop = open_workshop()
    yield workshop
    assert workshop.disagreements() == []


@pytest.fixture
def shelf(shop: "Workshop") -> "Shelf":
    from tests.factories import fill_shelf

    return fill_shelf(shop)
