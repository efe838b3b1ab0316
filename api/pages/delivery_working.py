"""What a delivery comes to while it is typed: each line beneath its quantity, and the whole."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils.translation import gettext as said

from api.pages.forms import PageForm
from api.pages.saying import in_words
from api.pages.screen import Screen
from api.pages.unread import unread
from ledger.costing import Charge, ChargeKind, LandedLine
from ledger.deliveries import work_out_delivery
from ledger.errors import Refusal
from ledger.measuring import Measured
from ledger.quantities import Density, Quantity
from ledger.receiving import Delivered


@dataclass(frozen=True, slots=True)
class Line:
    """What one line is in grams or pieces, and what it costs: its goods, and each part on top."""

    name: str
    entered: str
    measured: Measured
    landed: LandedLine
    parts: Sequence[tuple[ChargeKind, Decimal]]


@dataclass(slots=True)
class Working:
    """What a delivery comes to, or why that cannot be said yet.

    Money is told of the whole alone: what was paid on top is shared out among all lines.
    `lines` have the prefixes of their forms as keys.
    """

    lines: dict[str, Line] = field(default_factory=dict)
    refusal: str = ""
    total: Decimal = Decimal(0)
    unread: list[tuple[str, str]] = field(default_factory=list)
    costed: bool = False

    @classmethod
    def of(
        cls,
        screen: Screen,
        lines: Mapping[str, Delivered],
        charges: Sequence[Charge],
        unread: list[tuple[str, str]],
        *,
        costed: bool,
    ) -> "Working":
        if not lines:
            return cls(unread=unread)
        try:
            worked = work_out_delivery(screen.actor, list(lines.values()), charges)
        except Refusal as refusal:
            return cls(refusal=in_words(refusal.detail, screen.reader), unread=unread)
        told = zip(lines, worked.materials, worked.measured, worked.landed, strict=True)
        rows = {
            prefix: Line(
                name=material.name,
                entered=screen.reader.written(measured.entered),
                measured=measured,
                landed=landed,
                parts=_parts(charges, landed),
            )
            for prefix, material, measured, landed in told
        }
        total = sum((one.landed_cost for one in worked.landed), Decimal(0))
        return cls(rows, total=total, unread=unread, costed=costed)


def _parts(charges: Sequence[Charge], landed: LandedLine) -> list[tuple[ChargeKind, Decimal]]:
    return [(one.kind, share) for one, share in zip(charges, landed.shares, strict=True)]


def unread_of(forms: Sequence[PageForm]) -> list[tuple[str, str]]:
    """What cannot be read of the lines, each by its place where there are several."""
    called = said("Line %(place)s, %(label)s")
    return [
        (called % {"place": place, "label": label} if len(forms) > 1 else label, why)
        for place, form in enumerate(forms, start=1)
        for label, why in unread(form)
    ]


def so_far(form: PageForm) -> Delivered | None:
    """A line of which at least the material and the quantity can be read."""
    form.is_valid()
    typed = form.cleaned_data
    quantity, density = typed.get("quantity"), typed.get("density")
    if not typed.get("material") or not isinstance(quantity, Quantity) or "density" in form.errors:
        return None
    return Delivered(
        material=typed["material"],
        supplier_lot="",
        quantity=quantity,
        price=typed.get("price") or Decimal(0),
        density=density if isinstance(density, Density) else None,
    )
