"""What a mail about an alert says: a subject and its lines, of facts as they were found.

A mail is plain, since an address says nothing of how its reader writes; a page says the subject
again as its reader does.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from ledger.amounts import Amount
from ledger.errors import Sentence

Facts = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Told:
    """One alert in words: what stands above it, and the lines below."""

    subject: Sentence
    lines: tuple[str, ...]


def told(kind: str, facts: Facts) -> Told:
    """An alert of a kind in words. A name is a person's text, which may have lines of its own."""
    return _WORDS[kind](facts)


def _amount(facts: Facts, name: str) -> Amount:
    return Amount(Decimal(facts[name]), facts["counted"])


def _day(facts: Facts, name: str) -> date:
    return date.fromisoformat(facts[name])


def _in_words(day: date) -> str:
    return f"{day:%-d %b %Y}"


def _name(facts: Facts, name: str = "name") -> str:
    return " ".join(str(facts[name]).split())


def _low_stock(facts: Facts) -> Told:
    name, position = _name(facts), _amount(facts, "position")
    point = _amount(facts, "reorder_point")
    return Told(
        Sentence(
            "{name} is low: {position} to count on, reorder at {point}",
            name=name,
            position=position,
            point=point,
        ),
        (
            f"{name} is running low.",
            "",
            f"Position:       {position}",
            f"Reorder point:  {point}",
            f"Runs out:       {_runs_out(facts)}",
            "",
            "The position is what may be used today and what is on order, less all that planned",
            "batches need. Lots in quarantine, on hold, rejected or past their date do not count.",
            "",
            "You will hear of this again only after the position has been above the point.",
        ),
    )


def _runs_out(facts: Facts) -> str:
    """The day, and what uses it up by then: what is planned, or what is usual if that is more."""
    used, day = _amount(facts, "daily_use"), facts["runs_out_on"]
    if day is None and used.quantity:
        return f"not soon, at {used} a day"
    if day is None:
        return "not known; none was used in the last ninety days, and no batch needs the rest"
    by = f"by what is planned or at {used} a day" if used.quantity else "by what is planned"
    return f"{_in_words(_day(facts, 'runs_out_on'))}, {by}"


def _batch_short(facts: Facts) -> Told:
    code, day = facts["code"], _day(facts, "planned_for")
    lines = [f"Batch {code}, planned for {_in_words(day)}, can't be made."]
    for short in facts["short"]:
        order = f"; order it by {_in_words(_day(short, 'order_by'))}" if short["order_by"] else ""
        lines.append(f"- {_name(short)}: {_amount(short, 'quantity')} short{order}")
    if facts["more"]:
        lines.append(f"- and {facts['more']} more materials")
    subject = Sentence("Batch {code} for {day:%-d %b %Y} is short", code=code, day=day)
    return Told(subject, tuple(lines))


def _expiring(facts: Facts) -> Told:
    name, lot = _name(facts), facts["lot"]
    is_open = "use_by" in facts
    day = _day(facts, "use_by" if is_open else "expires_on")
    lines = [
        f"Lot {lot} of {name} may be used until {_in_words(day)}.",
        *([f"It was opened on {_in_words(_day(facts, 'opened_on'))}."] if is_open else []),
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
    words = "Lot {lot} of {name} expires on {day:%-d %b %Y}"
    if is_open:
        words = "Lot {lot} of {name} is open: use it by {day:%-d %b %Y}"
    return Told(Sentence(words, lot=lot, name=name, day=day), tuple(lines))


def _retest_due(facts: Facts) -> Told:
    name, lot, day = _name(facts), facts["lot"], _day(facts, "retest_on")
    words = "Lot {lot} of {name} is to be retested by {day:%-d %b %Y}"
    return Told(
        Sentence(words, lot=lot, name=name, day=day),
        (
            f"Lot {lot} of {name}, {_amount(facts, 'quantity')}, may be used until"
            f" {_in_words(day)} unless it is retested.",
        ),
    )


def _quarantine_ageing(facts: Facts) -> Told:
    name, lot, since = _name(facts), facts["lot"], _day(facts, "since")
    words = "Lot {lot} of {name} is in quarantine since {since:%-d %b %Y}"
    return Told(
        Sentence(words, lot=lot, name=name, since=since),
        (
            f"Lot {lot} of {name}, {_amount(facts, 'quantity')}, came into quarantine on"
            f" {_in_words(since)}.",
            "Release or reject it.",
        ),
    )


def _price_jump(facts: Facts) -> Told:
    name, supplier = _name(facts), _name(facts, "supplier")
    words, percent = "{name} from {supplier} costs {percent:f} % more", Decimal(facts["percent"])
    currency, _, per = facts["unit"].partition("/")
    a = "a piece" if per == "each" else "a kilogram"
    return Told(
        Sentence(words, name=name, supplier=supplier, percent=percent.normalize()),
        (f"{name} from {supplier} was {facts['was']} and is {facts['now']} {currency} {a}.",),
    )


def _deposit_unclaimed(facts: Facts) -> Told:
    supplier, since = _name(facts, "supplier"), _in_words(_day(facts, "paid_on"))
    amount, currency = Decimal(facts["amount"]), facts["currency"]
    words = "{supplier} still has a deposit of {amount:f} {currency}"
    of = f" for what lot {facts['came_in']} came in" if facts["came_in"] else ""
    return Told(
        Sentence(words, supplier=supplier, amount=amount, currency=currency),
        (
            f"{amount:f} {currency} was paid to {supplier} on {since}{of}.",
            "Give it back, and claim it.",
        ),
    )


def _called_back(facts: Facts) -> Told:
    name, lot, by = _name(facts), facts["lot"], _name(facts, "by")
    return Told(
        Sentence("{by} calls back lot {lot} of {name}", by=by, lot=lot, name=name),
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
