"""What came of an order round, as it is answered: the figures, and the same in words."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any
from uuid import UUID

from api.rest.fields import plain
from api.rest.round_shapes import amount_json, costs_json, money, order_json
from ledger.models import (
    Material,
    RoundOutcome,
    RoundPledge,
    RoundShare,
    RoundShareLine,
    Supplier,
)
from ledger.round_results import MakerResult, Result

NOTHING = Decimal(0)


def result_json(result: Result, currency: str) -> dict[str, Any]:
    outcome = result.outcome
    return {
        "round": str(result.round.id),
        "reckoned_at": outcome and outcome.reckoned_at,
        "totals": _totals(outcome, currency) if outcome and result.tells_totals else None,
        "fairness": _fairness(outcome, currency) if outcome and outcome.makers else None,
        "shares": [_share(one, result, currency) for one in result.makers],
        "orders": [order_json(order, currency) for order in result.orders],
        "how": list(_how(result, currency)),
    }


def _totals(outcome: RoundOutcome, currency: str) -> dict[str, Any]:
    return {
        "makers": outcome.makers,
        "apart": money(outcome.apart, currency),
        "together": money(outcome.together, currency),
        "leftover_sold": money(outcome.leftover_sold, currency),
        "split": money(outcome.shared, currency),
        "bound": None if outcome.bound is None else money(outcome.bound, currency),
    }


def _fairness(outcome: RoundOutcome, currency: str) -> dict[str, Any]:
    return {
        "core_is_empty": outcome.least_excess > 0,
        "least_excess": plain(outcome.least_excess),
        "largest_excess": money(outcome.largest_excess, currency),
        "groups": outcome.groups,
        "all_groups": outcome.all_groups,
        "looked_at": [{"makers": size, "groups": groups} for size, groups in outcome.looked_at],
        "proven": outcome.proven,
        "gap_percent": plain(outcome.gap_percent),
    }


def _share(one: MakerResult, result: Result, currency: str) -> dict[str, Any]:
    share = one.share or RoundShare(alone=NOTHING, amount=NOTHING, leftover_amount=NOTHING)
    materials = {line.material_id: line.material for line in one.lines}
    amounts = {
        "alone": share.alone,
        "together": share.amount,
        "saved": share.saved,
        "leftover_amount": share.leftover_amount,
        "to_pay": share.to_pay,
    }
    return {
        "maker": {"id": str(one.maker_id), "name": one.maker_name},
        **{name: money(value, currency) for name, value in amounts.items()},
        "own_alone": None if result.own is None else money(result.own.cost, currency),
        "lines": [_line(line, result.pledges.get(line.pledge_id), currency) for line in one.lines],
        "alone_orders": [
            _alone(order, result.alone, materials, currency)
            for order in (share.alone_orders or [])
            if result.alone
        ],
    }


def _line(line: RoundShareLine, pledge: RoundPledge | None, currency: str) -> dict[str, Any]:
    counted = line.material.counted
    return {
        "material": str(line.material_id),
        "material_name": line.material.name,
        "dropped": line.dropped or None,
        "quantity": amount_json(line.quantity, counted),
        "amount": money(line.amount, currency),
        "price": plain(line.price),
        "highest_price": plain(pledge.highest_price) if pledge else None,
        "leftover": amount_json(line.leftover, counted),
        "leftover_amount": money(line.leftover_amount, currency),
    }


def _alone(
    order: Mapping[str, Any],
    suppliers: Mapping[UUID, Supplier],
    materials: Mapping[UUID, Material],
    currency: str,
) -> dict[str, Any]:
    """An order that the maker would have placed alone, of its own materials."""
    supplier = suppliers[UUID(order["supplier"])]
    lines = []
    for line in order["lines"]:
        material = materials[UUID(line["material"])]
        lines.append(
            {
                "offer": line["offer"],
                "material": line["material"],
                "material_name": material.name,
                "packs": line["packs"],
                "quantity": amount_json(Decimal(line["quantity"]), material.counted),
                "amount": money(Decimal(line["amount"]), currency),
            }
        )
    return {
        "supplier": {"id": str(supplier.id), "name": supplier.name},
        **costs_json(Decimal(order["goods"]), Decimal(order["freight"]), currency),
        "lines": lines,
    }


def _how(result: Result, currency: str) -> Iterator[str]:
    """The reasoning, for whoever wants to know why it pays what it pays."""
    outcome = result.outcome
    if outcome is None:
        yield "The round is not reckoned yet."
        return
    if not outcome.makers:
        yield _why_nothing(result, outcome, currency)
        yield from _own(result, currency)
        return
    if result.tells_totals:
        yield (
            f"{outcome.makers} makers would pay {money(outcome.apart, currency)} apart; all"
            f" ordered as one costs {money(outcome.together, currency)}."
        )
        if sold := outcome.leftover_sold:
            yield f"{money(sold, currency)} of that is paid for leftover by who asked for it."
    for one in result.makers:
        if one.share is not None and one.share.alone:
            yield (
                f"{one.maker_name}: alone {money(one.share.alone, currency)}, together"
                f" {money(one.share.amount, currency)}."
            )
    yield from _own(result, currency)
    yield _fair(outcome, currency)
    yield from _how_sure(outcome)


def _why_nothing(result: Result, outcome: RoundOutcome, currency: str) -> str:
    if outcome.over_budget is None:
        return "Nothing is ordered: no pledge took part."
    cost = f", {money(outcome.over_budget, currency)}" if result.tells_totals else ""
    return f"Nothing is ordered: all would cost more than the budget of the round{cost}."


def _own(result: Result, currency: str) -> Iterator[str]:
    if result.own is None:
        return
    share = result.makers[0].share
    yield f"Alone by your own offers as well you would pay {money(result.own.cost, currency)}: " + (
        "your share is not above that."
        if share is not None and share.amount <= result.own.cost
        else "no share that helps the others is less, so these pledges took no part."
    )


def _how_sure(outcome: RoundOutcome) -> Iterator[str]:
    if outcome.groups < outcome.all_groups:
        told = ", ".join(f"{groups} of {size}" for size, groups in outcome.looked_at)
        yield (
            f"Of {outcome.all_groups} groups {outcome.groups} were looked at in the time allowed"
            + (f": {told}." if told else ".")
        )
    if not outcome.proven:
        yield (
            "Not all orders were proven to be the cheapest in the time allowed"
            + (f": at most {outcome.gap_percent} % of some might be saved." if outcome.gap else ".")
        )


def _fair(outcome: RoundOutcome, currency: str) -> str:
    excess = money(abs(outcome.least_excess), currency)
    if outcome.least_excess > 0:
        return (
            "However the cost is split, some group of makers pays more than it would by itself;"
            f" this split makes that least, {excess} at most. Nobody pays more than alone."
        )
    if outcome.largest_excess > 0:
        return (
            "No group of makers would pay less by itself but for cents: one pays"
            f" {money(outcome.largest_excess, currency)} more, for want of smaller coins."
        )
    return (
        "No maker would pay less alone, and no group of makers by itself: even the one that gains"
        f" least saves {excess}. No other split saves it more."
    )
