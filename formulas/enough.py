"""That what is added to effect is enough: somebody's word, kept with how much was in by then.

A word counts for what was in when it was given. Once more is weighed in, or some of it comes back
out, it is asked again.
"""

from datetime import datetime
from decimal import Decimal
from uuid import UUID

from formulas.models import BatchLine, Enough, Line
from formulas.pot import pot_of
from formulas.weighing import place
from ledger.access import Actor
from ledger.entries import EXPLAINED, explained
from ledger.errors import Conflict, Invalid
from ledger.roles import Verb


def say_enough(
    actor: Actor, *, batch: UUID | str, line: UUID | str, enough: bool, now: datetime
) -> Enough:
    """Keep that what is in of a line to effect is enough, or take that word back.

    Raises Forbidden, NotFound, AlreadyFinished, Invalid for a line that is not to effect, and
    Conflict where nothing of it is in, where the word stands already, and where there is none to
    take back.
    """
    actor.must(Verb.MAKE)
    found, of_line = place(actor, batch, line)
    if of_line is None or of_line.kind != Line.Kind.TO_EFFECT:
        raise _not_to_effect()
    grams = pot_of(found, of_line).own
    if grams <= 0:
        raise Conflict("Nothing of it is in yet: weigh some, and say then that it is enough.")
    before = word_of(of_line, grams)
    if enough and before is not None:
        raise Conflict("Somebody has found it enough already, and nothing came since.")
    if not enough and before is None:
        raise Conflict("Nobody has found it enough as it is now, so there is nothing to take back.")
    word = Enough(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        line=of_line,
        enough=enough,
        grams=grams,
        said_at=now,
        person_id=actor.person_id,
    )
    with explained():
        word.save(force_insert=True)
    return word


def word_of(line: BatchLine, grams: Decimal) -> Enough | None:
    """The word that so many grams of a line are enough, if it was given and counts still.

    Of words that are at hand, with no query.
    """
    last: Enough | None = max(line.words.all(), key=lambda word: word.id, default=None)
    return last if last is not None and last.enough and last.grams == grams else None


def _not_to_effect() -> Invalid:
    return Invalid(
        "This line is weighed to its target; only of what is added to effect it is said that it"
        " is enough.",
        pointer="/line",
    )


EXPLAINED["enough_to_effect"] = lambda facts: _not_to_effect()
