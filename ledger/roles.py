"""Who may do what: one table, role by verb. The documents print it from here."""

from enum import StrEnum
from typing import Final


class Verb(StrEnum):
    """Something a person does; the name is what the refusal says."""

    READ = "read stock and batches"
    SEE_COSTS = "see costs and prices"
    EDIT_CATALOGUE = "add or change materials and suppliers"
    CHANGE_DENSITY = "change the density of a material that all share"
    ORDER = "order from suppliers"
    RECEIVE = "receive deliveries"
    BILL = "book late bills and credit notes"
    DECIDE = "release, reject or hold lots"
    MAKE = "plan, weigh and finish batches"
    FORMULATE = "write formulas and products"
    ISSUE = "issue, sell or return stock"
    REVERSE = "reverse entries"
    TRANSFER = "offer stock to other makers, accept theirs"
    SETTLE = "record payments between makers, dispute what is owed"
    CLEAR = "clear what all makers of the co-op owe each other"
    CLOSE = "close the books of a period"
    WATCH = "set reorder points"
    SET_ALERTS = "choose which alerts are sent, and to whom"
    COUNT = "count stock and explain differences"
    PLACE = "name places and say where lots lie"
    HEAR = "log complaints, and what buyers said in a recall"
    SET_COST_FORMULA = "choose the cost formula"
    SET_STANDARD_COST = "set standard costs"
    SEE_OFFERS = "see what suppliers offer"
    OFFER = "write offers of suppliers"
    RUN_ROUNDS = "open and close order rounds"
    PLEDGE = "pledge in order rounds"
    COPY = "take a copy of all that the maker has"


_BENCH = {Verb.READ, Verb.RECEIVE, Verb.MAKE, Verb.ISSUE, Verb.EDIT_CATALOGUE, Verb.WATCH}
_BENCH |= {Verb.PLACE}
_BOOKS = {Verb.READ, Verb.SEE_COSTS, Verb.RECEIVE, Verb.ISSUE, Verb.REVERSE, Verb.EDIT_CATALOGUE}
_BOOKS |= {Verb.CLOSE, Verb.COPY, Verb.HEAR, Verb.OFFER, Verb.ORDER, Verb.PLACE}
_BOOKS |= {Verb.PLEDGE, Verb.SEE_OFFERS, Verb.SETTLE, Verb.TRANSFER}

MAY: Final[dict[str, frozenset[Verb]]] = {
    "owner": frozenset(Verb) - {Verb.CLEAR},
    "bench": frozenset(_BENCH | {Verb.DECIDE, Verb.REVERSE, Verb.FORMULATE, Verb.COUNT, Verb.HEAR}),
    "books": frozenset(
        _BOOKS | {Verb.BILL, Verb.SET_COST_FORMULA, Verb.SET_STANDARD_COST, Verb.WATCH, Verb.COUNT}
    ),
    "read-only": frozenset({Verb.READ, Verb.SEE_COSTS, Verb.SEE_OFFERS}),
    # Of the co-op alone: no maker's stock, only what all share.
    "coordinator": frozenset(
        {Verb.EDIT_CATALOGUE, Verb.CHANGE_DENSITY, Verb.SEE_OFFERS, Verb.OFFER, Verb.CLEAR}
        | {Verb.RUN_ROUNDS}
    ),
}
