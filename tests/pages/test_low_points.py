"""The point at which to be warned of a material: suggested with its working, and taken by a tap."""

import re
from typing import Any

import pytest
from django.test import Client

from ledger.access import acting_as
from ledger.alerts import watch_for
from ledger.models import Material, Membership, Watch
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, shown, signed_in, typed_in

TYPED = {
    "service_level_percent": "95",
    "lead_days": "9",
    "lead_spread": "2",
    "per_day": "1.8 kg",
    "spread": "600 g",
}


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def client(shop: Workshop) -> Client:
    return signed_in(shop)


def told(client: Client, material: Material, **typed: str) -> str:
    answer = client.get(f"/materials/{material.id}/low-point", typed)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", shown(answer))


def watching(shop: Workshop, material: Material) -> Watch:
    with acting_as(shop.actor):
        return watch_for(shop.actor, material.id)


def test_a_point_is_suggested_with_its_working_and_taken(shop: Workshop, client: Client) -> None:
    """1.8 kg a day (0.6), nine days (2), 95 of a hundred: 16.2 + 1.6449 x 4.0249 = 22.82 kg."""
    oil = shop.material("Decyl glucoside to be warned of")
    path = f"/materials/{oil.id}"
    assert "Too little of Decyl glucoside" in told(client, oil)
    done(client, path, reorder_point="1 kg", lead_days="12")
    page = told(client, oil, **TYPED)
    assert "Warn at 22.82 kg" in page
    assert "Of which safety stock 6.62 kg" in page
    for figure in ("1.8 kg", "600 g", "9.00", "2.00", "1.6449", "16.2 kg", "4.025 kg"):
        assert figure in page
    assert "Silver, Pyke and Peterson" in page
    address = f"{path}/low-point?" + "&".join(f"{name}={text}" for name, text in TYPED.items())
    taken = typed_in(client, address, "reorder_point")
    done(client, path, **taken)
    kept = watching(shop, oil)
    assert (kept.reorder_point, kept.safety_stock) == (D("22820.41"), D("6620.41"))
    assert kept.lead_days == 12, "what the maker had stated stays"
    # The material's own form shows it as it is kept, and refuses more than the point.
    again = typed_in(client, path, "reorder_point")
    assert (again["safety_stock"], again["lead_days"]) == ("6.62041 kg", "12")
    more = {**again, "safety_stock": "23 kg"}
    assert "part of the point" in refused(client, path, **more)


def test_pieces_are_whole_and_what_cannot_be_is_said_at_its_field(
    shop: Workshop, client: Client
) -> None:
    jar = shop.material("Jar to be warned of", measured_by="count")
    pieces = {**TYPED, "per_day": "3 each", "spread": "1 each"}
    # 27 + 1.6449 x sqrt(9 + 36) = 38.03, and 11.03 of it safety stock.
    page = told(client, jar, **pieces)
    assert "Warn at 39 pieces" in page
    assert "Of which safety stock 12 pieces" in page
    assert "from 50 to 99.99 percent" in told(
        client, jar, **{**pieces, "service_level_percent": "100"}
    )
    assert "fl oz" in told(client, jar, **{**pieces, "per_day": "3 oz"})
    reader = in_role(shop, Membership.Role.READ_ONLY)
    page = told(reader, jar, **pieces)
    assert "Warn at 39 pieces" in page
    assert "Warn me at" not in page
