"""What PostgreSQL refuses where makers deal with each other, said in words."""

from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any, Final

from ledger.amounts import Amount
from ledger.errors import (
    AlreadyReversed,
    Conflict,
    Forbidden,
    Invalid,
    LotNotReleased,
    NotEnough,
    NotFound,
    Refusal,
    Sentence,
)

NOT_AGREED: Final = (
    "The buyer of this round has not agreed to buy for all: answer that first, then order."
)


def _left(facts: dict[str, Any]) -> Amount:
    """What is left, as far as it is written."""
    return Amount(Decimal(facts["left"]), counted=facts["unit"] != "g").rounded_down()


def _left_to_give(facts: dict[str, Any]) -> Refusal:
    batches = facts["batches"]
    places = {"left": _left(facts), "code": facts["code"]}
    if batches:
        return NotEnough(
            Sentence(
                "Only {left} of the lot {code} is left to give: the rest is reserved for"
                " {batches}. Give no more than that, choose other lots for that batch, or cancel"
                " it.",
                **places,
                batches=", ".join(batches),
            ),
            left=str(facts["left"]),
            reserved_for=batches,
        )
    return NotEnough(
        Sentence(
            "Only {left} of the lot {code} is left to give; less can be asked for anew.",
            **places,
        ),
        left=str(facts["left"]),
    )


def _dispute_stands(facts: dict[str, Any]) -> Refusal:
    if not facts["stands"]:
        return Conflict("This movement is not disputed.")
    if facts["own"]:
        return Conflict("You dispute this movement already; say when that is over.")
    return Conflict("The other maker disputes this movement, and says when that is over.")


BETWEEN_MAKERS: Final[dict[str, Callable[[dict[str, Any]], Refusal]]] = {
    "transfer_not_reversed": lambda facts: Conflict(
        "Neither maker takes back a move alone: offer the goods back instead."
    ),
    "transfer_is_there": lambda facts: NotFound(),
    "transfer_open": lambda facts: Conflict(
        Sentence("This offer is already {state}; a new one can be made.", state=facts["state"]),
        state=facts["state"],
    ),
    "transfer_after_its_offer": lambda facts: Invalid(
        Sentence(
            "The goods were offered from {offered} on; give a later moment.",
            offered=datetime.fromisoformat(facts["offered"]),
        ),
        pointer="/happened_at",
    ),
    "transfer_lot_moves": lambda facts: LotNotReleased(
        Sentence(
            "The lot {code} is {status} with whoever offers it, and may not move.",
            code=facts["code"],
            status=facts["status"],
        ),
        status=facts["status"],
    ),
    "transfer_still_there": _left_to_give,
    "transfer_giver_can": lambda facts: Conflict(
        "The books of whoever gives this refuse it at that moment; give a later moment,"
        " or ask them.",
    ),
    "transfer_answers_no_more": lambda facts: NotEnough(
        Sentence(
            "Only {left} of that is still owed; withdraw this, and give back no more than that.",
            left=_left(facts),
        ),
        left=str(facts["left"]),
    ),
    "transfer_receiver_can": lambda facts: Conflict(
        "The books of whoever receives this refuse it at that moment; give a later moment,"
        " or ask them.",
    ),
    "movement_of_something": lambda facts: Invalid(
        "Write how much was paid: more than nothing.", pointer="/amount"
    ),
    "payment_other_can": lambda facts: Conflict(
        "The books of the other maker are closed for that day; give a later moment."
    ),
    "closing_of_the_past": lambda facts: Invalid(
        "Only a day that is over can be closed.", pointer="/closed_on"
    ),
    "closing_goes_forward": lambda facts: Invalid(
        "The books are closed beyond that day already; give a later day.", pointer="/closed_on"
    ),
    "deposit_not_reversed": lambda facts: Conflict(
        "A deposit comes back, or is paid anew: enter that instead."
    ),
    "deposit_returned_once": lambda facts: Conflict("This deposit came back already."),
    "movement_reversed_once": lambda facts: AlreadyReversed(),
    "dispute_changes_something": _dispute_stands,
    "pledge_of_something": lambda facts: Invalid(
        "A pledge is of more than nothing.", pointer="/quantity"
    ),
    "pledge_price_positive": lambda facts: Invalid(
        "The highest price is more than nothing; left empty, you take your fair share whatever it"
        " is.",
        pointer="/highest_price",
    ),
    "pledge_use_positive": lambda facts: Invalid(
        "What you use is more than nothing; leave it empty if you cannot say.",
        pointer="/use_per_month",
    ),
    "round_buyer_agrees": lambda facts: Conflict(NOT_AGREED),
    "round_buyer_was_asked": lambda facts: Conflict(
        "Another maker is asked to buy for this round by now: look at it again."
    ),
    "round_buyer_asked_once": lambda facts: Conflict(
        "Somebody has asked another maker meanwhile: look at the round again."
    ),
    "round_buyer_has_agreed": lambda facts: Conflict(
        "The buyer has agreed to buy for this round: it says first that it will not."
    ),
    "round_buyer_is_another": lambda facts: Conflict(
        "This maker is asked to buy for this round already; name another."
    ),
    "round_buyer_asked_before_orders": lambda facts: Conflict(
        "The orders of this round are written: whoever wrote them receives and hands out."
    ),
    "round_buyer_answers_before_orders": lambda facts: Conflict(
        "The orders of this round are written: what was agreed stands."
    ),
    "round_handed_out_once": lambda facts: Conflict(
        "This round is handed out: find the moves among those between makers."
    ),
    "late_bill_after_hand_out": lambda facts: Invalid(
        "The round was not handed out by then: give a later moment.", pointer="/happened_at"
    ),
    "late_parts_as_billed": lambda facts: Conflict(
        "This is not what was billed since the round was handed out; look at it again."
    ),
    "shared_bill_not_reversed": lambda facts: Conflict(
        "This bill stands in the books of both: book the opposite one, and share that."
    ),
    "round_lot_released": lambda facts: LotNotReleased(
        Sentence(
            "The lot {code} is {status}: decide about it before it is handed out.",
            code=facts["code"],
            status=facts["status"],
        ),
        status=facts["status"],
    ),
    "round_portions_as_split": lambda facts: Conflict(
        "This is not what the round has promised to its makers; look again at what is handed out."
    ),
    "claim_of_open_share": lambda facts: Conflict(
        "This share is closed; ask whoever opened it for another."
    ),
    "claim_open": lambda facts: Conflict(
        Sentence("This claim is already {state}; a new one can be made.", state=facts["state"]),
        state=facts["state"],
    ),
    "claim_accepted_by_giver": lambda facts: Forbidden(
        "Whoever opened the share accepts this claim."
    ),
}
