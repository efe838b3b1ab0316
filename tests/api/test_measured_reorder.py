"""From what was used and how long deliveries took to the point, its watch and one alert."""

import time
from typing import Any

from tests.api.client import Client
from tests.api.test_needs import used
from tests.api.test_order_lead_times import took
from tests.api.test_requirements import planned, recipe

NINETY_FIVE = {"service_level_percent": "95"}


def alerted(maker: Client, material: str) -> dict[str, Any]:
    """The open alert of a material that is low, once the worker has looked."""
    end = time.monotonic() + 90
    while time.monotonic() < end:
        for alert in maker.listed("alerts", kind="low_stock", state="open"):
            if alert["material"] == material:
                return dict(alert)
        time.sleep(0.1)
    raise AssertionError("no alert was opened")


def test_measured_use_and_lead_time_make_the_point_that_warns(north: Client) -> None:
    """Eight weeks of 12.6 kg, 1,485 g more and less in turn: 1.8 kg a day, and a spread of
    sqrt(8 x 1485^2 / 7) / sqrt(7) = 600 g. Deliveries of 7, 9 and 11 days: nine days, spread two.

    16.2 + 1.6449 x sqrt(9 x 0.36 + 3.24 x 4) = 22.82 kg; 19.16 kg if every delivery took nine days.
    26.0 kg lie there, 4.5 of them in quarantine, and 3.0 are promised: 18.5 kg to count on.
    """
    weeks = [12_600 + 1_485 * way for way in (1, -1) * 4]
    oil = used(north, "Coco-glucoside by its measure", weeks, "119.3 kg")
    for days in (7, 9, 11):
        took(north, oil, days)
    north.receive(oil, "4.5 kg", "30.00", release=False)
    wash = recipe(north, "Wash by its measure", {"material": oil, "percent": "100"})
    planned(north, wash, "3 kg", 5)
    found = north.post(f"materials/{oil}/reorder-point", NINETY_FIVE).made()
    assert (found["use"]["per_day"], found["use"]["spread"][:5]) == ("1800", "600.0")
    assert found["use"]["measured"]["pattern"] == "smooth"
    assert found["lead_time"] == {"days": "9", "spread_days": "2", "deliveries": 3}
    assert found["safety_stock"][:5] == "6620."
    assert found["reorder_point"][:6] == "22820."
    steady = {**NINETY_FIVE, "lead_time": {"days": "9"}}
    always = north.post(f"materials/{oil}/reorder-point", steady).made()
    assert always["reorder_point"][:6] == "19160."
    watch = {
        "reorder_point": f"{found['reorder_point']} g",
        "safety_stock": f"{found['safety_stock']} g",
    }
    north.change("PUT", f"watches/{oil}", watch).made()
    alert = alerted(north, oil)
    assert (alert["position"], alert["reorder_point"][:6]) == ("18500.000000", "22820.")
    stock = north.stock(oil)
    assert (stock["on_hand"], stock["low"]) == ("26000.000000", True)
