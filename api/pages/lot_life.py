"""What moved of a lot, and where from and where to: a batch, a buyer, a shop, another maker."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from api.pages.words import account_called
from formulas.lot_ends import ends_of
from ledger.access import Actor
from ledger.lot_reading import Movement, movements_of
from ledger.models import Lot

# Kinds of accounts whose names say who or what for; of the others the entry's own kind says it.
TELLING: Final = {"issue", "loss", "consignment", "settlement", "loan"}
# What a lot begins with.
FIRST: Final = {"receipt", "make", "fill", "transfer_in", "decant"}
# So many ends are named in one line, of so many movements; the trace has all.
MOST: Final = 8
MOST_MOVES: Final = 60


@dataclass(frozen=True, slots=True)
class End:
    """Where something came from or went to, and the page that has more about it, if any."""

    name: str
    to: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """A movement, with its other end where that has a name."""

    move: Movement
    end: End | None


@dataclass(frozen=True, slots=True)
class Life:
    """The latest movements of a lot; whence it came, and whither it went.

    With `more` it may have gone elsewhere as well.
    """

    steps: Sequence[Step]
    came: Sequence[End]
    went: Sequence[End]
    more: bool


def life_of(actor: Actor, lot: Lot) -> Life:
    """The movements of a lot with their ends, in two queries. Raises Forbidden."""
    # What it began with, though it may be long ago, and whether more lie between.
    moves = movements_of(actor, lot.id, limit=MOST_MOVES + 1, first=True)
    accounts = {move.account for move in moves if move.held == "batch"} | {lot.made_in_id}
    filled = {move.entry for move in moves if move.kind == "fill"}
    found = ends_of(actor, lot.id, [one for one in accounts if one], filled)
    known = {key: End(name, f"/{of}/{id}") for key, (of, id, name) in found.items()}
    ends: dict[UUID, End | None] = {entry: known.get(entry) for entry in filled}
    for move in moves:
        if move.kind == "make":
            ends[move.entry] = known.get(lot.made_in_id) if lot.made_in_id else None
        elif move.held == "supplier" and lot.supplier_id:
            ends[move.entry] = End(move.called, f"/suppliers/{lot.supplier_id}")
    steps = [Step(move, ends.get(move.entry) or _end(move, known)) for move in moves]
    stands = [(one.move, one.end) for one in steps if one.end and not one.move.undone]
    came = _once(end for move, end in stands if move.quantity > 0 and move.kind in FIRST)
    went = _once(end for move, end in stands if move.quantity < 0)
    return Life(
        steps[:MOST_MOVES],
        came=came[:MOST],
        went=went[:MOST],
        more=len(went) > MOST or len(moves) > MOST_MOVES + 1,
    )


def _end(move: Movement, known: Mapping[UUID, End]) -> End | None:
    """The other end as its account says it: who bought it, which batch, what it was given for."""
    if move.customer:
        return End(move.customer)
    if move.account and move.account in known:
        return known[move.account]
    return End(account_called(move.called)) if move.held in TELLING else None


def _once(ends: Iterable[End]) -> list[End]:
    return list(dict.fromkeys(ends))
