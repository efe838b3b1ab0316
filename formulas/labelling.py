"""What a product's label says, and what is still missing on it.

Regulation (EC) No 1223/2009 Art 19(1): (a) name and address, (b) nominal content, (c) durability,
(d) precautions, (e) batch number, (f) function, (g) ingredients. Nothing here decides that a label
is right: it lists what the rules name and says what nobody has stated yet.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

from formulas.access import product_for
from formulas.declaration import Declaration, Market
from formulas.declaring import declare_as_is
from formulas.labels import Durability, NetContents, durability, net_contents
from formulas.models import FormulaVersion, Product
from ledger import gs1
from ledger.access import Actor, lot_for
from ledger.errors import (
    Invalid,
    Sentence,
    placed,
)
from ledger.lot_labels import maker_name
from ledger.models import Lot
from ledger.roles import Verb

MOST_MONTHS = 120


@dataclass(frozen=True, slots=True)
class LabelDraft:
    """What the maker states for the label and beside it.

    `made_by` is the name and address, the maker's name where it is empty. `report_to` is where to
    report that something went wrong (21 USC 364e), `safety_file` where its safety is shown (21 USC
    364d, Regulation (EC) 1223/2009 Art 10) and `notified_as` its reference with the authority (Art
    13, 21 USC 364c): kept here, judged elsewhere. What only licensed professionals are to use says
    so on its label (`professional_only`, 21 USC 364e). The sections are from memory.
    """

    gtin: str = ""
    months_after_opening: int | None = None
    function: str = ""
    warnings: str = ""
    made_by: str = ""
    report_to: str = ""
    safety_file: str = ""
    notified_as: str = ""
    professional_only: bool = False


NOTHING_STATED = LabelDraft()


@dataclass(frozen=True, slots=True)
class Label:
    """A product's label, for one lot or in general; `missing` says what is still to be stated."""

    product: Product
    declaration: Declaration
    contents: NetContents
    durability: Durability
    made_by: str
    lot: Lot | None
    missing: tuple[str, ...]


def set_label(product: Product, draft: LabelDraft) -> None:
    """Take over what is stated for the label. Raises GtinWrong, Invalid."""
    with placed("/labelling/gtin"):
        product.gtin = gs1.gtin14(draft.gtin) if draft.gtin else ""
    months = draft.months_after_opening
    if months is not None and not 1 <= months <= MOST_MONTHS:
        raise Invalid(
            Sentence(
                "A period after opening is 1 to {most_months} months.", most_months=MOST_MONTHS
            ),
            pointer="/labelling/months_after_opening",
        )
    product.months_after_opening = months
    product.label_function, product.label_warnings = draft.function, draft.warnings
    product.made_by, product.report_to = draft.made_by, draft.report_to
    product.safety_file, product.notified_as = draft.safety_file, draft.notified_as
    product.professional_only = draft.professional_only


def label_product(
    actor: Actor,
    *,
    product: UUID | str,
    today: date,
    lot: UUID | str | None = None,
    market: Market = Market.EU,
    water_lost_percent: Decimal = Decimal(0),
) -> Label:
    """The draft of a label: for one lot of the product, or as if it were made today.

    Raises NotFound, Forbidden, Invalid for a lot of something else, and what `declare` raises.
    """
    actor.must(Verb.READ)
    found = product_for(actor, product)
    declared, version = declare_as_is(
        actor, found, market=market, water_lost_percent=water_lost_percent
    )
    of = None if lot is None else lot_for(actor, lot, pointer="/lot")
    if of is not None and of.material_id != found.material_id:
        raise Invalid(
            Sentence("The lot {code} is not of {name}.", code=of.code, name=found.name),
            pointer="/lot",
        )
    lasts = _lasts(found, version, of, today)
    return Label(
        product=found,
        declaration=declared,
        contents=net_contents(millilitres=found.fill_ml, grams=found.fill_grams),
        durability=lasts,
        made_by=found.made_by or maker_name(actor),
        lot=of,
        missing=_missing(found, lasts, of),
    )


def gtin_of_lot(actor: Actor, lot: Lot) -> str:
    """The GTIN of the maker's product that a lot is of; empty if none."""
    rows = Product.objects.filter(maker_id=actor.maker, material_id=lot.material_id)
    return rows.values_list("gtin", flat=True).first() or ""


def _lasts(product: Product, version: FormulaVersion, lot: Lot | None, today: date) -> Durability:
    made_on = today if lot is None else lot.arrived_on
    days = version.shelf_life_days
    expires = None if days is None else made_on + timedelta(days=days)
    return durability(
        made_on=made_on,
        expires_on=expires if lot is None else lot.expires_on,
        opened_months=product.months_after_opening,
    )


def _missing(product: Product, lasts: Durability, lot: Lot | None) -> tuple[str, ...]:
    asked = (
        (product.made_by, Sentence("The name and address of who answers for it.")),
        (product.use, Sentence("Whether it is left on or rinsed off.")),
        (product.label_function, Sentence("What it is for, unless plain to see.")),
        (product.label_warnings, Sentence("Precautions, where it needs any.")),
        (
            product.report_to,
            Sentence("Where to report that something went wrong (asked for in the US)."),
        ),
        (
            product.safety_file,
            Sentence("Where its safety is shown, which is not for this page to judge."),
        ),
        (lot, Sentence("The batch number: print it for a lot.")),
    )
    missing = [said for there, said in asked if not there]
    return (*missing, *([lasts.missing] if lasts.missing else []))
