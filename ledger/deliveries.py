"""A delivery as people enter it: materials and suppliers by name, a certificate beside it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db.models.functions import Lower

from ledger.access import Actor, materials_visible_to
from ledger.catalogue import supplier_named
from ledger.costing import Charge
from ledger.documents import attach_document
from ledger.errors import Invalid, Refusal, Sentence, placed
from ledger.models import Material
from ledger.receiving import Delivered, Received, Worked, receive, work_out


@dataclass(frozen=True, slots=True)
class File:
    """A file that came with the delivery: its name, the type it is said to be, its bytes."""

    name: str
    said: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Delivery:
    """What stands on the note. `material` of each line is a name, in any capitals.

    `order` is the order that it brings, if any; its lines then name theirs. A supplier that is not
    known is added only if `new_supplier`; a release asks for its basis; the certificate goes with
    every lot of the delivery.
    """

    supplier: str
    lines: Sequence[Delivered]
    charges: Sequence[Charge]
    happened_at: datetime
    new_supplier: bool = False
    release_basis: str | None = None
    reference: str = ""
    condition: str = ""
    certificate: File | None = None
    order: str | None = None


def receive_delivery(actor: Actor, delivery: Delivery) -> Received:
    """Receive a delivery by the names on it, with its certificate.

    Raises Invalid for a name that nothing has, and what receiving and attaching raise, each with
    its pointer; nothing is written then.
    """
    received = receive(
        actor,
        supplier=supplier_named(actor, delivery.supplier, new=delivery.new_supplier).id,
        lines=_named(actor, delivery.lines),
        charges=delivery.charges,
        happened_at=delivery.happened_at,
        release_basis=delivery.release_basis,
        reference=delivery.reference,
        condition=delivery.condition,
        order=delivery.order,
    )
    if delivery.certificate is not None:
        file = delivery.certificate
        with placed("/certificate"):
            for lot in received.lots:
                attach_document(
                    actor,
                    lot=lot.id,
                    kind="coa",
                    content=file.content,
                    name=file.name,
                    said=file.said,
                )
    return received


def work_out_delivery(
    actor: Actor, lines: Sequence[Delivered], charges: Sequence[Charge]
) -> Worked:
    """What the lines of a delivery will be in grams and cost on the shelf; nothing is written.

    Raises as `receive_delivery` does.
    """
    return work_out(actor, _named(actor, lines), charges)


def unknown_names(actor: Actor, supplier: str, materials: Sequence[str]) -> list[Refusal]:
    """Of these names those that nothing has, all at once, as `receive_delivery` refuses each.

    What is left empty is not looked for.
    """
    refusals: list[Refusal] = []
    if supplier:
        try:
            supplier_named(actor, supplier)
        except Refusal as refusal:
            refusals.append(refusal)
    known = _materials(actor, materials)
    refusals += [
        _unknown(name, place)
        for place, name in enumerate(materials)
        if name and name.lower() not in known
    ]
    return refusals


def _named(actor: Actor, lines: Sequence[Delivered]) -> list[Delivered]:
    """The lines with the ids of their materials, in one query."""
    known = _materials(actor, [line.material for line in lines])
    found = []
    for place, line in enumerate(lines):
        material = known.get(line.material.lower())
        if material is None:
            raise _unknown(line.material, place)
        found.append(replace(line, material=str(material.id)))
    return found


def _unknown(name: str, place: int) -> Invalid:
    return Invalid(
        Sentence(
            "No material is called {material!r}: choose one from the list, or add it first.",
            material=name,
        ),
        pointer=f"/lines/{place}/material",
    )


def _materials(actor: Actor, names: Sequence[str]) -> dict[str, Material]:
    """The materials of these names, in any capitals; the oldest where two are called alike."""
    rows = materials_visible_to(actor).annotate(folded=Lower("name"))
    return {
        row.name.lower(): row
        for row in rows.filter(folded__in=[name.lower() for name in names]).order_by("-id")
    }
