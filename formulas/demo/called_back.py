"""What buyers told the demo's first maker, and the exercise in which it found all of a lot."""

from datetime import datetime
from typing import Final

from formulas.complaints import add_fact, log_complaint
from formulas.demo.bench import Bench
from formulas.demo.history import SEEN
from formulas.demo.incidents import CORNER_SHOP, Incident
from formulas.demo.sharing import maker_id
from formulas.demo.small_lots import SHOP
from ledger.lots import decide
from ledger.quantities import parse_quantity
from ledger.recall_notices import answer_notice, notices_of
from ledger.recall_records import (
    close_recall,
    contact_buyer,
    open_recall,
    progress_of,
    recalls_of,
)
from ledger.transferring import accept_transfer, offer_transfer, transfers_of

EXERCISE: Final = "exercise: do we find all of it within the hour?"
OVER: Final = "the exercise is over; nothing is wrong with it"


def pump_complained_of(bench: Bench, days_ago: int) -> None:
    """The shop that brought a bottle back is heard; it was the one carton."""
    complaint = bench.does(
        log_complaint,
        received_on=bench.day(days_ago),
        today=bench.day(days_ago),
        what_happened="the pump of a bottle is stuck",
        customer=CORNER_SHOP,
        batch_code=bench.lots["hand wash 250"][-1].code,
    )
    for later, kind, text in (
        (1, "note", "twenty pumps of the same carton were tried; all of them work"),
        (4, "closed", "the bottle was replaced"),
    ):
        day = bench.day(days_ago - later)
        bench.does(add_fact, complaint=complaint.id, kind=kind, on=day, today=day, text=text)


def eye_stung(bench: Bench, days_ago: int) -> None:
    """Shampoo got into an eye; that is harm, though not a serious one, and it is looked into."""
    complaint = bench.does(
        log_complaint,
        received_on=bench.day(days_ago),
        today=bench.day(days_ago),
        what_happened="shampoo got into her eye; it stung and was red for an hour",
        adverse=True,
        customer="market stall",
        batch_code=bench.lots["shampoo 250"][-1].code,
    )
    day = bench.day(days_ago - 1)
    text = "told her to rinse it with water; the pH of the retained bottle is as it was"
    bench.does(add_fact, complaint=complaint.id, kind="note", on=day, today=day, text=text)


def protein_given(bench: Bench, days_ago: int) -> None:
    """Some oat protein goes to another maker, which wants to try it."""
    bench.does(
        offer_transfer,
        lot=bench.lots["protein"][-1].id,
        maker=maker_id(bench, "Mill Bench"),
        quantity=parse_quantity("80 g"),
        happened_at=bench.at(days_ago, 11),
        note="to try in a lotion",
    )


def protein_taken(bench: Bench, days_ago: int) -> None:
    """The other maker takes it."""
    for offer in bench.does(transfers_of, incoming=True, state="open"):
        moment = bench.at(days_ago, 15)
        bench.does(accept_transfer, transfer=offer.id, happened_at=moment, release_basis=SEEN)


def exercise_begun(bench: Bench, days_ago: int) -> None:
    """Twice a year a lot is called back to see whether all of it is found: this time, protein.

    The shops are called; whoever buys at the market is not known by name.
    """
    recall = bench.does(
        open_recall,
        lot=bench.lots["protein"][-1].id,
        reason=EXERCISE,
        happened_at=_morning(bench, days_ago),
        depth="retail",
    )
    day = bench.day(days_ago)
    told = {"how": "phone", "on": day, "today": day, "answered": True}
    for shop in (CORNER_SHOP, SHOP):
        note = "knows that it is an exercise, and which bottles these are"
        bench.does(contact_buyer, recall=recall.id, customer=shop, note=note, **told)


def exercise_answered(bench: Bench, days_ago: int) -> None:
    """The other maker says what it has, and holds nothing for an exercise."""
    for notice in bench.does(notices_of, incoming=True):
        bench.does(answer_notice, notice=notice.id)


def exercise_over(bench: Bench, days_ago: int) -> None:
    """All of it was found; what was held for it is released, lot by lot."""
    recall = bench.does(recalls_of).get()
    listed = bench.does(progress_of, recall).listed
    bench.does(
        close_recall,
        recall=recall.id,
        reason="all of it was found in 40 minutes",
        happened_at=_morning(bench, days_ago).replace(hour=11),
    )
    for lot in listed.lots:
        if lot.status == "hold":
            bench.does(decide, lot=lot.id, decision="release", basis=OVER)


def _morning(bench: Bench, days_ago: int) -> datetime:
    return bench.at(days_ago, 10, 5)


CALLED_BACK: Final = (
    Incident(58, "north", protein_given),
    Incident(57, "mill", protein_taken),
    Incident(4, "north", exercise_begun),
    Incident(4, "mill", exercise_answered),
    Incident(4, "north", exercise_over),
    Incident(14, "north", pump_complained_of),
    Incident(5, "north", eye_stung),
)
