"""What heat harms goes in once the batch has cooled: the maximum temperature of a line."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from formulas.errors import TooHot
from formulas.measurements import last_celsius
from formulas.models import Batch, BatchLine

NOT_RECORDED = "no temperature recorded"


@dataclass(frozen=True, slots=True)
class Heat:
    """The last recorded temperature of a batch in degC, None if none, and a line's maximum."""

    celsius: Decimal | None
    max_celsius: Decimal

    @property
    def note(self) -> str:
        """What is to be said of it, if anything."""
        return NOT_RECORDED if self.celsius is None else ""


def too_hot(celsius: Decimal | None, max_celsius: Decimal, name: str) -> TooHot | None:
    """The refusal, if a batch at this temperature is above the maximum of the line `name`.

    At the maximum itself it may go in, and where no temperature is known as well.
    """
    if celsius is None or celsius <= max_celsius:
        return None
    return TooHot(
        name=name,
        celsius=f"{celsius.normalize():f}",
        max_celsius=f"{max_celsius.normalize():f}",
        pointer="/line",
    )


def heat_of(
    batch: Batch, line: BatchLine | None, happened_at: datetime
) -> tuple[Heat | None, TooHot | None]:
    """How hot the batch was when a line went in, and the refusal if that was too hot.

    Neither for a line without a maximum, which asks for no query.
    """
    if line is None or line.max_celsius is None:
        return None, None
    celsius = last_celsius(batch, happened_at)
    return Heat(celsius, line.max_celsius), too_hot(celsius, line.max_celsius, line.material.name)
