"""What most tests of a page begin with: a workshop of their file's own, and its owner's browser.

This file is read before Django is ready, and so what needs it is imported where it is used.
"""

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from django.test import Client

    from tests.factories import Workshop


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> "Workshop":
    from tests.factories import open_workshop

    return open_workshop()


@pytest.fixture
def client(shop: "Workshop") -> "Client":
    from tests.pages.browsing import signed_in

    return signed_in(shop)
