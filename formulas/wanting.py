"""Whether a lot is what a line wants: of its own material, or of one that a top-up put there."""

from formulas.access import standing
from formulas.models import Alternate, BatchLine, LineChange, Weighing
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.models import Lot, Material


def wants(line: BatchLine | None, wanted: Material, lot: Lot) -> bool:
    """Whether a lot is of the material that is wanted, or of one that a top-up put on the line."""
    if lot.material_id == wanted.id:
        return True
    changed = LineChange.objects.filter(line=line, material_id=lot.material_id)
    return line is not None and changed.exists()


def not_wanted(line: BatchLine | None, wanted: Material, lot: Lot) -> Invalid:
    """The refusal for a lot of another material, which says what to do with it."""
    if line is not None and _is_alternate(line, lot):
        return Invalid(
            Sentence(
                "{material} may stand in for {wanted} here: plan a top-up first, so that active"
                " matter is matched and the balance line gives way.",
                material=lot.material.name,
                wanted=wanted.name,
            ),
            pointer="/lot",
        )
    return Invalid(
        Sentence(
            "The lot {code} is {material}, and this line wants {wanted}: name another lot,"
            " weigh it in as something else that goes in, or record a deviation.",
            code=lot.code,
            material=lot.material.name,
            wanted=wanted.name,
        ),
        pointer="/lot",
    )


def _is_alternate(line: BatchLine, lot: Lot) -> bool:
    known = Alternate.objects.filter(
        material_id=lot.material_id,
        line__version_id=line.batch.version_id,
        line__position=line.position,
    )
    return known.exists()


def poured_for(line: BatchLine, lot: Lot) -> bool:
    """Whether anything of a lot's material was weighed for a line."""
    rows = Weighing.objects.filter(line=line, lot__material_id=lot.material_id)
    return standing(rows).exists()
