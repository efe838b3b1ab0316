"""What the books and the workings of figures call things, as a reader's language has it.

The domain tells figures by fixed names, which the API gives out as they are; a page says them by
these. Names that people gave, such as those of materials, are not among them and stay as they are.
"""

from collections.abc import Mapping
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from ledger.errors import Sentence

# What an entry of the ledger does.
MOVEMENTS: Final[Mapping[str, Promise | str]] = {
    "goods": _("Goods"),
    "payment": _("Payment"),
    "bill": _("Later bill"),
    "clearing": _("Clearing"),
}
KINDS: Final[Mapping[str, Promise | str]] = {
    "receipt": _("came in"),
    "draw": _("weighed into a batch"),
    "weigh_back": _("put back from a batch"),
    "make": _("made"),
    "fill": _("filled"),
    "cancel": _("put back from a batch that was given up"),
    "sale": _("sold"),
    "customer_return": _("came back from a buyer"),
    "supplier_return": _("sent back"),
    "issue": _("given out"),
    "count": _("counted"),
    "reversal": _("taken back"),
    "opening": _("there at the start"),
    "cost_formula": _("another cost formula"),
    "scrap": _("scrapped"),
    "empty": _("emptied into bulk"),
    "late_charge": _("a later charge"),
    "price_correction": _("a corrected price"),
    "credit_note": _("a credit note"),
    "consign": _("given to a shop to sell"),
    "unconsign": _("came back from a shop"),
    "transfer_out": _("given to another maker"),
    "transfer_in": _("came from another maker"),
    "payment": _("paid"),
    "clearing": _("cleared"),
    "decant": _("drawn off"),
    "deposit": _("a deposit"),
    "deposit_return": _("a deposit that came back"),
    "shared_bill": _("a later bill, shared"),
}
# What kind of account goods or value are in.
HELD: Final[Mapping[str, Promise | str]] = {
    "store": _("store"),
    "batch": _("batch"),
    "supplier": _("supplier"),
    "source": _("the tap"),
    "opening": _("there at the start"),
    "making": _("making"),
    "labour": _("work"),
    "overhead": _("overhead"),
    "sales": _("sales"),
    "issue": _("given out"),
    "loss": _("loss"),
    "cost_difference": _("cost difference"),
    "consignment": _("shop"),
    "settlement": _("another maker"),
    "transfer": _("on its way to another maker"),
    "money": _("money"),
    "loan": _("loan"),
    "deposit": _("deposit"),
}
# What value went to, by the name of its account.
ACCOUNTS: Final[Mapping[str, Promise | str]] = {
    "cost of goods sold": _("cost of goods sold"),
    "sample": _("samples"),
    "tester": _("testers"),
    "gift": _("gifts"),
    "retained": _("samples that were kept"),
    "quality": _("samples that were tested"),
    "write-off": _("written off"),
    "spill": _("spilt"),
    "scrap": _("scrapped"),
    "abnormal loss": _("unusual losses"),
    "cost difference": _("differences of cost"),
    "heel": _("heels left in drums and fillers"),
    "reject": _("rejected"),
    "emptied": _("lost in emptying"),
    "evaporation": _("evaporated"),
    "shrink": _("shrinkage"),
    "found": _("found in counts"),
    "misbooked": _("booked wrongly"),
    "gain or loss on moves between makers": _("gained or lost on goods that moved between makers"),
}
# Where goods are.
PLACES: Final[Mapping[str, Promise | str]] = {
    "in store": _("in store"),
    "in pots": _("in pots"),
    "at shops": _("at shops"),
    "sold": _("sold"),
    "returned to the supplier": _("returned to the supplier"),
}
# What figures are.
FIGURES: Final[Mapping[str, Promise | str]] = {
    "abnormal": _("unusual loss"),
    "actual_grams": _("lost"),
    "base": _("base"),
    "beyond_grams": _("lost beyond what was expected"),
    "bulk": _("bulk"),
    "by-product": _("by-product"),
    "by-products": _("by-products"),
    "joint product": _("product of the same batch"),
    "joint products": _("other products of the batch"),
    "count differences": _("count differences"),
    "decanted": _("decanted"),
    "duty": _("duty"),
    "each": _("pieces"),
    "efficiency": _("time"),
    "emptied": _("emptied"),
    "expected_grams": _("loss that was expected"),
    "filled": _("filled"),
    "freight": _("freight"),
    "goods": _("goods"),
    "inputs": _("all that went in"),
    "labour": _("work"),
    "landed cost": _("landed cost"),
    "later bills": _("later bills"),
    "layer": _("layer"),
    "lot": _("lot"),
    "made": _("made"),
    "materials": _("materials"),
    "mix": _("mix"),
    "moved": _("moved"),
    "not stocked": _("not stocked"),
    "opening stock": _("opening stock"),
    "overhead": _("overhead"),
    "packaging": _("packaging"),
    "per_kg": _("a kilogram"),
    "per_unit": _("a piece"),
    "plan_percent": _("against plan"),
    "price": _("price"),
    "rate": _("rate"),
    "total": _("in all"),
    "usage": _("quantity"),
    "variance": _("difference"),
    "weighed back": _("weighed back"),
    "yield": _("yield"),
    "yield_percent": _("yield"),
}
# How figures are reckoned.
WAYS: Final[Mapping[str, Promise | str]] = {
    "Its working stands above.": _("Its working stands above."),
    "(minutes per batch + minutes per unit · units) · hourly rate ÷ 60": _(
        "(minutes per batch + minutes per piece · pieces) · hourly rate ÷ 60"
    ),
    "(total - packaging) ÷ output": _("(total - packaging) ÷ output"),
    "(actual hours - standard hours) · standard rate": _(
        "(actual hours - standard hours) · standard rate"
    ),
    "(actual pieces - standard pieces of the units) · standard price": _(
        "(actual pieces - those of the standard) · standard price"
    ),
    "(actual quantity - its share of all that went in by the standard mix) · standard price": _(
        "(actual quantity - its share of all that went in by the standard mix) · standard price"
    ),
    "(actual rate - standard rate) · actual hours": _(
        "(actual rate - standard rate) · actual hours"
    ),
    "(all that went in - what the standard takes for the output) · standard mix": _(
        "(all that went in - what the standard takes for the output) · standard mix"
    ),
    "actual - standard": _("actual - standard"),
    "actual overhead - standard overhead on the actual materials": _(
        "actual overhead - standard overhead on the actual materials"
    ),
    "actual value - actual pieces · standard price": _(
        "actual value - actual pieces · standard price"
    ),
    "actual value - actual quantity · standard price": _(
        "actual value - actual quantity · standard price"
    ),
    "actual - expected, or nothing": _("actual - expected, or nothing"),
    "agreed with whoever gave it": _("agreed with whoever gave it"),
    "all that came in less all that went out": _("all that came in less all that went out"),
    "all weighings": _("all weighings"),
    "at the value it went in with": _("at the value it went in with"),
    "bulk + packaging + labour": _("bulk + packaging + labour"),
    "declared · (inputs - packaging - by-products) ÷ (output + declared)": _(
        "declared · (inputs - packaging - by-products) ÷ (output + declared)"
    ),
    "declared · (inputs - packaging - by-products - joint products) ÷ (output + declared)": _(
        "declared · (inputs - packaging - by-products - other products) ÷ (output + declared)"
    ),
    "differences of the period, beside the cost of the batch": _(
        "differences of the period, beside the cost of the batch"
    ),
    "drawn at filling": _("drawn at filling"),
    "drawn at finish": _("drawn at finish"),
    "goods + charges, spread by largest remainder": _(
        "goods + charges, spread by largest remainder"
    ),
    "inputs - abnormal": _("inputs - abnormal"),
    "inputs - by-products - abnormal": _("inputs - by-products - abnormal"),
    "inputs - by-products - joint products - abnormal": _(
        "inputs - by-products - other products - abnormal"
    ),
    "its part of the joint cost, by mass": _("its part of what all products cost, by mass"),
    "its part of the joint cost, by net realisable value": _(
        "its part of what all products cost, by what each will bring"
    ),
    "its part of the joint cost, by sales value": _(
        "its part of what all products cost, by what each fetches"
    ),
    "its part of what all that was drawn carries, the heel included": _(
        "its part of what all that was drawn carries, the heel included"
    ),
    "materials + packaging + labour + overhead": _("materials + packaging + labour + overhead"),
    "minutes that it took · hourly rate ÷ 60": _("minutes that it took · hourly rate ÷ 60"),
    "mix + yield": _("mix + yield"),
    "moving average of what was in store; these receipts went into it last": _(
        "moving average of what was in store; these receipts went into it last"
    ),
    "net realisable value": _("net realisable value"),
    "net realisable value, deducted from the main product": _(
        "net realisable value, deducted from the main product"
    ),
    "output ÷ all weighed in": _("output ÷ all weighed in"),
    "output ÷ planned output": _("output ÷ planned output"),
    "price + usage": _("price + quantity"),
    "price - discount": _("price - discount"),
    "rate + base": _("rate + base"),
    "rate + efficiency": _("rate + time"),
    "share of the bill by what the batch had used of the lot": _(
        "share of the bill by what the batch had used of the lot"
    ),
    "spent · (1 + retention) + weighed · evaporation": _(
        "spent · (1 + retention) + weighed · evaporation"
    ),
    "standard overhead on the actual materials - on the standard ones": _(
        "standard overhead on the actual materials - on the standard ones"
    ),
    "sum per batch + percent of materials": _("sum per batch + percent of materials"),
    "taken from the cost layers": _("taken from the cost layers"),
    "the bulk's part of what the units cost": _("the bulk's part of what the pieces cost"),
    "valued when the books began": _("valued when the books began"),
    "weighed - output - declared": _("weighed - output - declared"),
    "what its batch cost": _("what its batch cost"),
    "what was misbooked, at its cost": _("what was misbooked, at its cost"),
}
# What a figure was reckoned from.
FACTS: Final[Mapping[str, Promise | str]] = {
    "actual": _("actual"),
    "at": _("at"),
    "batch": _("batch"),
    "bill": _("bill"),
    "by": _("by"),
    "cost_per_kg": _("cost per kg"),
    "count": _("count"),
    "declared": _("declared"),
    "density": _("density"),
    "density_of": _("density of"),
    "deviation": _("deviation"),
    "direction": _("for you"),
    "drawn": _("drawn"),
    "entered": _("entered"),
    "expected_evaporation": _("expected evaporation"),
    "expected_marc": _("expected marc"),
    "expensed": _("expensed"),
    "finished_at": _("finished at"),
    "formula": _("formula"),
    "formula_standard_from": _("standard of the formula from"),
    "from": _("from"),
    "grams": _("grams"),
    "heel": _("heel"),
    "hourly_rate": _("hourly rate"),
    "labour_minutes": _("minutes of work"),
    "lot": _("lot"),
    "minutes_per_batch": _("minutes per batch"),
    "minutes_per_unit": _("minutes per piece"),
    "output": _("output"),
    "overrode": _("overrode"),
    "per_batch": _("per batch"),
    "percent_of_materials": _("percent of materials"),
    "product_standard_from": _("standard of the product from"),
    "quantity": _("quantity"),
    "reason": _("reason"),
    "received_at": _("received at"),
    "reference": _("reference"),
    "spent": _("spent"),
    "standard": _("standard"),
    "standard_quantity": _("quantity by the standard"),
    "supplier": _("supplier"),
    "supplier_lot": _("supplier's lot"),
    "units": _("pieces"),
    "used": _("used"),
    "version": _("version"),
    "weighed": _("weighed"),
}
# Of what a density was measured or stated.
OF_WHAT: Final[Mapping[str, Promise | str]] = {"lot": _("the lot"), "material": _("the material")}
# What was decided about a lot, and what that makes of it.
DECISIONS: Final[Mapping[str, Promise | str]] = {
    "release": _("Released"),
    "reject": _("Rejected"),
    "hold": _("Held"),
    "quarantine": _("Put in quarantine"),
}
STATUSES: Final[Mapping[str, Promise | str]] = {
    "quarantine": _("in quarantine"),
    "released": _("released"),
    "hold": _("on hold"),
    "rejected": _("rejected"),
}
# What is paid on top of goods.
CHARGES: Final[Mapping[str, Promise | str]] = {
    "freight": _("freight"),
    "duty": _("duty"),
    "tax": _("tax that does not come back"),
    "other": _("another cost of getting it"),
}
# Classes of cost that nobody named.
CLASSES: Final[Mapping[str, Promise | str]] = {
    "material": _("material"),
    "made": _("made"),
    "product": _("product"),
}
ROLES: Final[Mapping[str, Promise | str]] = {
    "owner": _("owner"),
    "bench": _("at the bench"),
    "books": _("keeps the books"),
    "read-only": _("may look"),
    "coordinator": _("coordinator"),
}
# What a message to a program tells.
EVENTS: Final[Mapping[str, Promise | str]] = {
    "opened": _("an alert opened"),
    "closed": _("an alert closed"),
    "reminder": _("an alert stays open"),
    "test": _("a test"),
}
NAMES: Final = {**ACCOUNTS, **PLACES, **FIGURES, **WAYS}


def worded(name: str) -> str:
    """What a figure, a place or a way of reckoning is called; a name that people gave stays."""
    if isinstance(name, Sentence):
        return gettext(name.template).format(**name.places)
    return str(NAMES.get(name) or KINDS.get(name.replace(" ", "_"), name))


def account_called(name: str) -> str:
    """What an account is called to which value goes."""
    return str(ACCOUNTS.get(name, name))


def kind(name: str) -> str:
    """What an entry of the ledger is called on a page."""
    return str(KINDS.get(name, name))


def movement(name: str) -> str:
    """What the kind of a movement between two makers is called on a page."""
    return str(MOVEMENTS.get(name, name))


def held(name: str) -> str:
    """What the kind of an account is called on a page."""
    return str(HELD.get(name, name))


def event(name: str) -> str:
    """What a message to a program tells, as a page calls it."""
    return str(EVENTS.get(name, name))


def class_called(name: str) -> str:
    """What a class of cost is called; a name that people gave stays."""
    return str(CLASSES.get(name, name))


def decided(name: str) -> str:
    """What was decided about a lot."""
    return str(DECISIONS.get(name, name))


def charge(name: str) -> str:
    """What was paid on top of goods."""
    return str(CHARGES.get(name, name))


def role(name: str) -> str:
    """What somebody does at a maker."""
    return str(ROLES.get(name, name))
