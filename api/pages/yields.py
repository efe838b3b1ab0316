"""How a batch came out beside the earlier ones of its formula, as a plot and its table."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.utils.safestring import SafeString
from django.utils.translation import gettext as said

from api.pages import plots
from api.pages.reader import Reader
from formulas.fill_reading import PastYield, past_yields
from ledger.access import Actor


def yields_of(actor: Actor, *, batch: UUID, formula: UUID, reader: Reader) -> dict[str, Any]:
    """What `yields.html` tells: the last batches of the formula, and which of them is this one."""
    past = past_yields(actor, formula)
    plot = yield_plot(past, batch, reader.numbers)
    return {"yields": past, "this_batch": batch, "yield_plot": plot}


def yield_plot(past: Sequence[PastYield], batch: UUID, numbers: str) -> SafeString | str:
    """The yields in their order with a line at that of this batch; nothing for a single one."""
    if len(past) < 2:
        return ""
    values = [one.yield_percent for one in past]
    this = [(one.code, one.yield_percent) for one in past if one.batch == batch]
    title, x = said("Yield of its batches"), said("batches, the oldest first")
    return plots.spread(title, values, this, y="%", x=x, numbers=numbers)
