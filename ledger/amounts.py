"""An amount in a sentence: it is written plainly where the sentence is, and by a page as its reader
writes amounts."""

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import Final

# In grams.
KILOGRAM: Final = 1000


@dataclass(frozen=True, slots=True)
class Amount:
    """Grams, or pieces where it is `counted`."""

    quantity: Decimal
    counted: bool

    def __str__(self) -> str:
        """ "18.5 kg", "320.25 g", "1,200 pieces": so many digits as a scale is read with, and never
        nothing for something."""
        if self.counted:
            unit = "piece" if self.quantity == 1 else "pieces"
            return f"{rounded(self.quantity, 3):,f} {unit}"
        if abs(self.quantity) >= KILOGRAM:
            return f"{rounded(self.quantity / KILOGRAM, 3):,f} kg"
        return f"{rounded(self.quantity, 2):,f} g"

    def rounded_down(self) -> "Amount":
        """The same to the digits in which it is written, and never more: what there is."""
        return self._written(ROUND_FLOOR)

    def rounded_up(self) -> "Amount":
        """The same to the digits in which it is written, and never less: what is wanted."""
        return self._written(ROUND_CEILING)

    def _written(self, way: str) -> "Amount":
        places = 3 if self.counted else 0 if abs(self.quantity) >= KILOGRAM else 2
        written = self.quantity.quantize(Decimal(1).scaleb(-places), way)
        return Amount(written or self.quantity, self.counted)


def rounded(value: Decimal, places: int) -> Decimal:
    """To so many places, half to the even one; of what would be nothing then, its first digit."""
    if 0 < abs(value) <= Decimal(5).scaleb(-places - 1):
        places = -value.adjusted()
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN).normalize()
