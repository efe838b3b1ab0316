"""Texts that are seldom written: of each a row, and the page on which it can be read."""

from dataclasses import replace
from datetime import timedelta

from api.list_kinds import KINDS
from api.long_lists import TRY, send_list, try_list
from formulas.composing import write_formula
from formulas.filling import fill
from formulas.judging import Measure, Window
from formulas.labelling import LabelDraft
from formulas.leftovers import Leftover
from formulas.measurements import record_measurement
from formulas.models import SecondLook
from ledger.alerts import look_at, set_watch
from ledger.cost_formulas import choose_cost_formula
from ledger.limits import Limit
from ledger.models import Outbox
from ledger.outbox import Work
from ledger.quantities import parse_quantity
from ledger.recall_notices import answer_notice, notices_of
from ledger.recall_records import open_recall
from ledger.retesting import Found, record_results, specify
from ledger.round_buyers import answer_as_buyer
from ledger.sharing import close_share, open_share
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, TODAY, D, Workshop
from tests.ordering_together import asked

NOON = MORNING + timedelta(hours=4)
ABOUT = {"happened_at": NOON}


def tell_more(shop: Workshop, other: Workshop) -> list[str]:
    """What the rest of the tests' ground says nothing about, and the pages that tell it."""
    looks = SecondLook.objects.select_related("weighing")
    look = shop.does(lambda actor: looks.filter(maker_id=actor.maker).latest("id"))
    return [
        f"/batches/{look.weighing.batch_id}/checks",
        *_words_asked_and_found(shop),
        *_lost(shop),
        *_watched(shop),
        *_lists(shop),
        *_no_more_shared(shop),
        *_answered_otherwise(shop, other),
        *_declined(shop),
    ]


def _words_asked_and_found(shop: Workshop) -> list[str]:
    """A lot that is judged by how it looks, and a batch too, each with what was found."""
    oil = shop.material("Hazelnut oil")
    lot = shop.receive(oil, "1 kg", "9.00")
    shop.does(specify, material=oil.id, limits=[Limit("looks", text="clear")])
    found = [Found("looks", text="clear")]
    shop.does(record_results, lot=lot.id, found=found, tested_on=TODAY, today=TODAY)
    draft = shop.draft("Clear oil", [(oil, "100")])
    draft = replace(draft, windows=[Window(Measure.APPEARANCE, text="clear and yellow")])
    planned = shop.plan(shop.does(write_formula, draft), "500 g")
    seen = {"value": "clear", "agrees": True, "phase": "A", "note": "by daylight"}
    shop.does(
        record_measurement, batch=planned.batch.id, measure=Measure.APPEARANCE, **seen, **ABOUT
    )
    return [
        f"/lots/{lot.id}/results",
        f"/materials/{oil.id}/limits",
        f"/batches/{planned.batch.id}",
        f"/formulas/{planned.batch.version.formula_id}",
    ]


def _lost(shop: Workshop) -> list[str]:
    """Some is spilt at the end of a batch, and some burst as it was filled; it has a number."""
    oil = shop.material("Plum oil", density="0.92 g/mL")
    shop.receive(oil, "1 kg", "9.00")
    version = shop.formula("Plum balm", [(oil, "100")])
    planned = shop.plan(version, "1 kg")
    shop.weigh_all(planned)
    made = shop.finish(planned, "900 g", lost="20 g")
    number = LabelDraft(gtin="04006381333931")
    product = shop.product(version, "30 g", areas=["lip"], label=number)
    filled = shop.does(
        fill,
        product=product.id,
        lot=made.lot.id,
        units=6,
        rejects=[Leftover(parse_quantity("10 g"), "a seam burst")],
        **ABOUT,
    )
    return [
        f"/batches/{planned.batch.id}",
        f"/lots/{made.lot.id}/recall-list",
        f"/fills/{filled.filling.id}",
        f"/products/{product.id}/edit",
    ]


def _watched(shop: Workshop) -> list[str]:
    """A material that runs low, of a class with a cost formula of its own."""
    salt = shop.material("Sea salt")
    shop.does(set_watch, material=salt.id, reorder_point=parse_quantity("2 kg"))
    shop.does(lambda actor: look_at(actor.coop_id, actor.maker, salt.id, now=NOON))
    chosen = {"cost_class": "Salts", "formula": "fifo", "reason": "the oldest goes first"}
    shop.does(choose_cost_formula, **chosen, **ABOUT)
    return [f"/materials/{salt.id}", "/alerts", "/books/cost-formulas"]


def _lists(shop: Workshop) -> list[str]:
    """A list with something wrong in it, and one that is no list."""
    wrong = b"material,quantity,value,supplier_lot\nWax that nobody knows,1 kg,9,A 1\n"
    told = shop.does(send_list, kind="lots", name="shelf.csv", content=wrong, now=NOON)
    broken = wrong + b"Wax,1 kg,9,A 2\n" * KINDS["lots"].most_at_once + b'"Wax'
    sent = shop.does(send_list, kind="lots", name="broken.csv", content=broken, now=NOON)
    owed = shop.does(lambda actor: Outbox.objects.get(task=TRY, subject=sent.id))
    try_list(Work(owed.coop_id, owed.maker_id, owed.id, TRY, sent.id, attempts=1), NOON)
    return [f"/sent-lists/{one.id}" for one in (told, sent)]


def _no_more_shared(shop: Workshop) -> list[str]:
    """A share that is closed for a reason."""
    lot = shop.receive(shop.material("Mango butter"), "1 kg", "9.00")
    share = shop.does(open_share, lot=lot.id, happened_at=MORNING)
    shop.does(close_share, share=share.id, reason="it is needed here", now=NOON)
    return [f"/shares/{share.id}"]


def _answered_otherwise(shop: Workshop, other: Workshop) -> list[str]:
    """Called back from here by another maker; more was sold of it than the records say."""
    lot = other.receive(other.material("Neem oil"), "1 kg", "9.00")
    about = {"maker": shop.actor.maker, "quantity": parse_quantity("100 g")}
    offer = other.does(offer_transfer, lot=lot.id, **about, **ABOUT)
    shop.does(accept_transfer, transfer=offer.id, **ABOUT)
    other.does(open_recall, lot=lot.id, reason="too warm", **ABOUT)
    notice = shop.does(lambda actor: notices_of(actor, incoming=True).latest("id"))
    figures = {"in_reach": {"grams": D(95)}, "sold": {"grams": D(5)}}
    told = {"corrected": figures, "reason": "a jar was not written down"}
    shop.does(answer_notice, notice=notice.id, **told)
    return [f"/recall-notices/{notice.id}"]


def _declined(shop: Workshop) -> list[str]:
    """It was asked to buy for all, and will not."""
    round = asked(shop)
    answer = {"agrees": False, "reason": "no room for drums", "now": NOON}
    shop.does(answer_as_buyer, round=round.id, **answer)
    return [f"/order-rounds/{round.id}"]
