"""Five makers order together: no group does better by itself, and nobody hears of another."""

import json
import re
from decimal import Decimal
from itertools import combinations
from typing import Any

from tests.api.client import Coop
from tests.api.people import maker_id
from tests.stories.buying import BENCHES, PATHS, PLEDGES, many

BUYER = "Mill Bench"


def needs(shares: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What some makers get of what they pledged, as an order plan is asked for it."""
    grams: dict[tuple[str, str], Decimal] = {}
    for share in shares:
        for line in share["lines"]:
            ((unit, quantity),) = line["quantity"].items()
            key = line["material"], unit
            grams[key] = grams.get(key, Decimal(0)) + Decimal(quantity)
    return [
        {"material": material, "quantity": many({unit: f"{quantity:f}"})}
        for (material, unit), quantity in grams.items()
        if quantity
    ]


def test_no_group_of_makers_orders_cheaper_by_itself(
    coop: Coop, results: dict[str, dict[str, Any]]
) -> None:
    """Not one, nor two of them, nor more: by the cheapest orders that anybody finds at these
    offers."""
    found = results["coordinator"]
    shares = found["shares"]
    assert found["fairness"]["core_is_empty"] is False
    for size in range(1, len(shares)):
        for group in combinations(shares, size):
            asked = {"needs": needs(list(group)), "allow_expiring": True}
            plan = coop["North Bench"].post("order-plans", asked).made()
            pays = sum(Decimal(share["together"]) for share in group)
            assert plan["proven"]
            assert pays <= Decimal(plan["cost"]), [share["maker"]["name"] for share in group]
            if size == 1:
                assert plan["cost"] == group[0]["alone"]


def test_nothing_about_a_round_tells_a_maker_of_another(
    coop: Coop, opened: str, results: dict[str, dict[str, Any]]
) -> None:
    """Neither who else is in it, but for who buys, nor what it pledged, gets and pays: in no answer
    and on no page. The buyer knows what all get, since it hands it out."""
    told = {bench: telltales(results["coordinator"], bench) for bench in BENCHES}
    for bench in set(BENCHES) - {BUYER}:
        client = coop[bench]
        answers = [client.get(f"order-rounds/{opened}{path}").made() for path in PATHS]
        cookies = f"stillroom={client.token}; maker={client.maker}"
        pages = [client.raw("GET", page, headers={"Cookie": cookies}) for page in pages_of(opened)]
        assert {page.status for page in pages} == {200}
        text = [*map(json.dumps, answers), *(page.raw.decode() for page in pages)]
        figures = {figure for one in text for figure in re.findall(r"\d[\d.,]*\d", one)}
        assert told[bench] & figures, "the search finds"
        for other in set(BENCHES) - {bench}:
            found = (told[other] - told[bench]) & figures
            assert not found, f"{bench} is told of {other}: {found}"
            named = [one for one in text if other in one or str(maker_id(coop, other)) in one]
            assert not named or other == BUYER, f"{bench} is told that {other} takes part"


def telltales(found: dict[str, Any], bench: str) -> set[str]:
    """What a maker pledged, gets and pays, as answers and pages write it. What it saves is not
    among that: how much even the least lucky one saves is told to all."""
    (share,) = [one for one in found["shares"] if one["maker"]["name"] == bench]
    amounts = {share[name] for name in ("alone", "together", "to_pay")}
    amounts |= {line["amount"] for line in share["lines"]}
    typed = {pledge["quantity"].split()[0] for pledge in PLEDGES[bench]}
    typed |= {f"{Decimal(one) * 1000:f}".rstrip("0").rstrip(".") for one in typed if "." in one}
    typed |= {f"{Decimal(one) * 1000:.6f}" for one in typed if "." in one}
    return {sign for sign in amounts | typed if len(sign.replace(".", "")) > 3}


def pages_of(round: str) -> list[str]:
    """All pages about a round."""
    return [f"/order-rounds/{round}{page}" for page in ("", "/hand-out", "/late-bills")]
