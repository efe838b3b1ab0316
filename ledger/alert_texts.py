"""What a mail about an alert says: a subject and its lines, of facts as they were found."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

Facts = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Told:
    """One alert in words: what stands above it, and the lines below."""

    subject: str
    lines: tuple[str, ...]


def shown(quantity: Decimal, counted: bool) -> str:
    """A quantity for people, exact: 18500 grams are "18.5 kg", 320 are "320 g"."""
    if counted:
        return f"{quantity.normalize():f} each"
    if abs(quantity) >= 1000:
        return f"{(quantity / 1000).normalize():f} kg"
    return f"{quantity.normalize():f} g"


def told(kind: str, facts: Facts) -> Told:
    """An alert of a kind in words. A name is a person's text, which may have lines of its own."""
    return _WORDS[kind](facts)


def _amount(facts: Facts, name: str) -> str:
    return shown(Decimal(facts[name]), facts["counted"])


def _name(facts: Facts, name: str = "name") -> str:
    return " ".join(str(facts[name]).split())


def _low_stock(facts: Facts) -> Told:
    name, position = _name(facts), _amount(facts, "position")
    point, ends = _amount(facts, "reorder_point"), facts["runs_out_on"]
    by_use = (
        f"Runs out:       {ends}, at {_amount(facts, 'daily_use')} a day"
        if ends
        else "Runs out:       not known; none of it was used in the last ninety days"
    )
    return Told(
        f"{name} is low: {position}, reorder at {point}",
        (
            f"{name} is running low.",
            "",
            f"Position:       {position}",
            f"Reorder point:  {point}",
            by_use,
            "",
            "The position is what may be used today and what is on order, less all that planned",
            "batches need. Lots in quarantine, on hold, rejected or past their date do not count.",
            "",
            "You will hear of this again only after the position has been above the point.",
        ),
    )


def _batch_short(facts: Facts) -> Told:
    lines = [f"Batch {facts['code']}, planned for {facts['planned_for']}, can't be made."]
    for short in facts["short"]:
        lacks = shown(Decimal(short["quantity"]), short["counted"])
        order = f"; order it by {short['order_by']}" if short["order_by"] else ""
        lines.append(f"- {_name(short)}: {lacks} short{order}")
    if facts["more"]:
        lines.append(f"- and {facts['more']} more materials")
    return Told(f"Batch {facts['code']} for {facts['planned_for']} is short", tuple(lines))


def _expiring(facts: Facts) -> Told:
    name, lot, day = _name(facts), facts["lot"], facts["expires_on"]
    lines = [
        f"Lot {lot} of {name} may be used until {day}.",
        f"There is {_amount(facts, 'quantity')} of it, and {_amount(facts, 'at_risk')} will be"
        f" left at {_amount(facts, 'daily_use')} a day.",
    ]
    if (promised := facts.get("promised")) and Decimal(promised):
        lines.append(f"Planned batches take {_amount(facts, 'promised')} of it.")
    if others := facts["others"]:
        makers = "1 other maker uses" if others == 1 else f"{others} other makers use"
        named = [" ".join(one.split()) for one in facts["others_named"]]
        lines.append(
            f"{makers} this material" + (f": {', '.join(named)}." if named else " in the co-op.")
        )
    return Told(f"Lot {lot} of {name} expires on {day}", tuple(lines))


def _retest_due(facts: Facts) -> Told:
    name, lot, day = _name(facts), facts["lot"], facts["retest_on"]
    return Told(
        f"Lot {lot} of {name} is to be retested by {day}",
        (
            f"Lot {lot} of {name}, {_amount(facts, 'quantity')}, may be used until {day} unless it"
            " is retested.",
        ),
    )


def _quarantine_ageing(facts: Facts) -> Told:
    name, lot, since = _name(facts), facts["lot"], facts["since"]
    return Told(
        f"Lot {lot} of {name} is in quarantine since {since}",
        (
            f"Lot {lot} of {name}, {_amount(facts, 'quantity')}, came into quarantine on {since}.",
            "Release or reject it.",
        ),
    )


def _price_jump(facts: Facts) -> Told:
    name, supplier = _name(facts), _name(facts, "supplier")
    return Told(
        f"{name} from {supplier} costs {facts['percent']} % more",
        (f"{name} from {supplier} was {facts['was']} and is {facts['now']} {facts['unit']}.",),
    )


def _deposit_unclaimed(facts: Facts) -> Told:
    supplier, since = _name(facts, "supplier"), facts["paid_on"]
    amount = f"{facts['amount']} {facts['currency']}"
    of = f" for what lot {facts['came_in']} came in" if facts["came_in"] else ""
    return Told(
        f"{supplier} still has a deposit of {amount}",
        (f"{amount} was paid to {supplier} on {since}{of}.", "Give it back, and claim it."),
    )


def _called_back(facts: Facts) -> Told:
    name, lot, by = _name(facts), facts["lot"], _name(facts, "by")
    return Told(
        f"{by} calls back lot {lot} of {name}",
        (
            f"{by} calls back lot {lot} of {name}: {_name(facts, 'reason')}.",
            f"{_amount(facts, 'quantity')} of it came to you.",
            "Stop using it and what was made of it, and answer the notice with where it is now.",
        ),
    )


_WORDS = {
    "low_stock": _low_stock,
    "batch_short": _batch_short,
    "expiring": _expiring,
    "retest_due": _retest_due,
    "quarantine_ageing": _quarantine_ageing,
    "price_jump": _price_jump,
    "deposit_unclaimed": _deposit_unclaimed,
    "called_back": _called_back,
}
