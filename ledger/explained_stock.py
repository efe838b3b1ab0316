"""What PostgreSQL refuses of what lies in a store, said in words."""

from collections.abc import Callable
from datetime import date
from decimal import ROUND_DOWN, ROUND_UP, Decimal
from typing import Any, Final

from ledger.errors import (
    LotExpired,
    LotNotReleased,
    LotOpenTooLong,
    NotEnough,
    Refusal,
    Sentence,
    UsedSince,
)

HUNDREDTH: Final = Decimal("0.01")


def _amount(facts: dict[str, Any], name: str, way: str = ROUND_DOWN) -> Sentence:
    """A quantity with its unit, as a scale shows it: never more than there is, and rounded up never
    less than is short."""
    amount = Decimal(facts[name])
    amount = (amount.quantize(HUNDREDTH, way) or amount).normalize()
    return Sentence("{amount:f} {unit}", amount=amount, unit=facts["unit"])


def _not_enough(facts: dict[str, Any]) -> Refusal:
    if "lot" not in facts:
        return NotEnough()
    return NotEnough(
        Sentence(
            "Only {left} of the lot {code} is left; take less, or the rest from another lot.",
            left=_amount(facts, "left"),
            code=facts["code"],
        ),
        lot=facts["lot"],
        left=str(facts["left"]),
    )


def _reserved(facts: dict[str, Any]) -> Refusal:
    batches = ", ".join(facts["batches"])
    return NotEnough(
        Sentence(
            "Only {left} of the lot {code} is free: the rest is reserved for {batches}. Take"
            " another lot, choose other lots for that batch, or cancel it.",
            left=_amount(facts, "left"),
            code=facts["code"],
            batches=batches,
        ),
        lot=facts["lot"],
        left=str(facts["left"]),
        reserved_for=facts["batches"],
    )


def _not_usable(facts: dict[str, Any]) -> Refusal:
    told = {"lot": facts["lot"], "code": facts["code"], "status": facts["status"]}
    if facts["status"] == "rejected":
        return LotNotReleased(
            Sentence(
                "The lot {code} is rejected, and no reason makes it usable: take another lot.",
                code=facts["code"],
            ),
            **told,
        )
    if facts["status"] != "released":
        return LotNotReleased(**told)
    if facts["out_of_date"]:
        last_day = date.fromisoformat(facts["last_day"])
        return LotExpired(lot=facts["lot"], code=facts["code"], last_day=last_day)
    opened, until = (date.fromisoformat(facts[name]) for name in ("opened_on", "use_by"))
    told = {
        "lot": facts["lot"],
        "code": facts["code"],
        "opened_on": opened,
        "days": (until - opened).days,
        "use_by": until,
    }
    if facts["by_draw"]:
        # Nobody had said so: its material came by its days after that draw.
        of_old = Sentence(
            "The lot {code} is open since some of it was drawn on {opened_on}, and lasts {days}"
            " days then, until {use_by}: choose another, record a deviation, or say on which day"
            " the container that you use was opened.",
            **told,
        )
        return LotOpenTooLong(of_old, **told)
    return LotOpenTooLong(**told)


def _overdrawn_day(facts: dict[str, Any]) -> Refusal:
    return NotEnough(
        Sentence(
            "On {on} the lot {code} would have been overdrawn by {short}: give a later"
            " moment, or a smaller quantity.",
            on=date.fromisoformat(facts["on"]),
            code=facts["code"],
            short=_amount(facts, "short", ROUND_UP),
        ),
        lot=facts["lot"],
    )


def _used_since(facts: dict[str, Any]) -> Refusal:
    entries = facts.get("entries", [])
    if facts.get("formula_changed"):
        return UsedSince(
            "The cost formula has changed since, so this cannot come back at its old value:"
            " return or issue what is left instead.",
            entries=entries,
        )
    if not entries:
        return UsedSince()
    if facts.get("bill"):
        return UsedSince(
            Sentence(
                "Goods have left the store at the cost that this bill gave them: book the opposite"
                " amount as a bill of its own, or reverse these entries first: {entries}",
                entries=", ".join(entries),
            ),
            entries=entries,
        )
    return UsedSince(
        Sentence(
            "What this entry moved has been used since; reverse these entries first: {entries}",
            entries=", ".join(entries),
        ),
        entries=entries,
    )


OF_STOCK: Final[dict[str, Callable[[dict[str, Any]], Refusal]]] = {
    "holding_not_negative": _not_enough,
    "holding_not_negative_on_any_day": _overdrawn_day,
    "reservation_kept": _reserved,
    "lot_usable": _not_usable,
    "entry_not_used_since": _used_since,
    "layer_not_negative": _used_since,
    "layer_empty_has_no_value": _used_since,
    "holding_empty_has_no_value": _used_since,
}
