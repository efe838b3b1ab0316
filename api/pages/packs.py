"""What a delivery note says of several packs: "2 x 5 kg" is 10 kg."""

import re
from decimal import Decimal
from typing import Final

from api.pages.forms import QuantityField
from ledger.quantities import Quantity, parse_quantity

# So many packs, a times sign, and what each of them holds, as one number and its unit.
TIMES: Final = "[x\N{MULTIPLICATION SIGN}]"
PACKS: Final = re.compile(
    rf"([0-9]{{1,4}}) ?{TIMES} ?([0-9]{{1,9}}(?:\.[0-9]{{1,9}})?) ?([^0-9]+)", re.IGNORECASE
)


class SeveralField(QuantityField):
    """ "4 gal", "60 each", or several packs of one size; what is kept is how much that is."""

    def read(self, typed: str) -> Quantity:
        found = PACKS.fullmatch(" ".join(typed.split()))
        if found is None:
            return super().read(typed)
        packs, size, unit = found.groups()
        return parse_quantity(f"{Decimal(packs) * Decimal(size):f} {unit}")
