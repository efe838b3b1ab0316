"""Formulas, products and batches by their ids: the maker's own, or as if they were not there."""

from uuid import UUID

from django.db.models import Exists, F, OuterRef, Prefetch, QuerySet, Subquery
from django.db.models.functions import Least

from formulas.at_hand import keep_at_hand
from formulas.models import (
    Batch,
    BatchLine,
    BatchPackaging,
    Filling,
    Formula,
    FormulaVersion,
    Line,
    LineChange,
    Measurement,
    Packaging,
    Phase,
    Pick,
    Product,
    UnitWeighing,
    Weighing,
)
from ledger.access import Actor, find
from ledger.errors import (
    LotNotReleased,
    NotFound,
    Sentence,
)
from ledger.models import Custody, Entry, Status
from ledger.roles import Verb


def formulas_of(actor: Actor) -> QuerySet[Formula]:
    """The maker's formulas, with what they make. Raises Forbidden."""
    actor.must(Verb.READ)
    return Formula.objects.select_related("material").filter(maker_id=actor.maker)


def formula_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Formula:
    """A formula of the maker. Raises NotFound, Forbidden."""
    return find(formulas_of(actor), id, pointer=pointer)


def versions_of(actor: Actor) -> QuerySet[FormulaVersion]:
    """Versions with their formula, phases and lines, in a fixed number of queries."""
    actor.must(Verb.READ)
    lines = Line.objects.select_related("phase", "material", "component__material")
    return (
        FormulaVersion.objects.select_related("formula__material")
        .prefetch_related(
            Prefetch("lines", lines.order_by("position")),
            Prefetch("phases", Phase.objects.order_by("position")),
            "windows",
        )
        .filter(maker_id=actor.maker)
    )


def written_versions(actor: Actor, formula: Formula) -> QuerySet[FormulaVersion]:
    """The versions of a formula with whoever wrote them, the latest first. Raises Forbidden."""
    actor.must(Verb.READ)
    rows = FormulaVersion.objects.select_related("person").filter(maker_id=actor.maker)
    return rows.filter(formula=formula).order_by("-number")


def version_for(
    actor: Actor, formula: UUID | str, number: int | None = None, *, pointer: str = ""
) -> FormulaVersion:
    """A version of a formula, the one in force unless numbered, with its lines.

    Raises NotFound, Forbidden.
    """
    found = formula_for(actor, formula, pointer=pointer)
    versions = versions_of(actor).filter(formula=found)
    wanted = versions.filter(number=found.version if number is None else number).first()
    return wanted or find(versions, "", pointer=pointer)


def version_to_make(actor: Actor, formula: UUID | str, *, pointer: str = "") -> FormulaVersion:
    """The version of a formula in force with its lines and windows, in two queries.

    Raises NotFound, Forbidden.
    """
    actor.must(Verb.READ)
    rows = Line.objects.select_related(
        "version__formula__material", "phase", "material", "component__material"
    ).prefetch_related("version__windows")
    in_force = rows.filter(maker_id=actor.maker, version__number=F("version__formula__version"))
    lines = list(in_force.filter(version__formula=id_of(formula, pointer)).order_by("position"))
    if not lines:
        raise NotFound(pointer=pointer)
    version: FormulaVersion = lines[0].version
    keep_at_hand(version, lines=lines)
    return version


def products_of(actor: Actor) -> QuerySet[Product]:
    """The maker's products with their formula and packaging. Raises Forbidden."""
    actor.must(Verb.READ)
    return (
        Product.objects.select_related("material", "formula__material")
        .prefetch_related(Prefetch("packaging", Packaging.objects.select_related("material")))
        .filter(maker_id=actor.maker)
    )


def product_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Product:
    """A product of the maker. Raises NotFound, Forbidden."""
    return find(products_of(actor), id, pointer=pointer)


def batches_of(actor: Actor) -> QuerySet[Batch]:
    """The maker's batches with their formula and what came of them. Raises Forbidden."""
    actor.must(Verb.READ)
    return Batch.objects.select_related(
        "version__formula__material", "product__material", "making__lot"
    ).filter(maker_id=actor.maker)


def batch_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Batch:
    """A batch of the maker. Raises NotFound, Forbidden."""
    return find(batches_of(actor), id, pointer=pointer)


def with_details(batches: QuerySet[Batch]) -> QuerySet[Batch]:
    """The same with lines, picks, packaging and the weighings that count, in a few queries."""
    return on_paper(batches).prefetch_related("top_ups")


def on_paper(batches: QuerySet[Batch]) -> QuerySet[Batch]:
    """The same with all that the sheet of a batch tells."""
    weighings = (
        standing(Weighing.objects.all())
        .select_related("lot__material", "person")
        .prefetch_related("second_looks")
        .order_by("id")
    )
    return batches.prefetch_related(
        Prefetch("lines", BatchLine.objects.select_related("material", "component")),
        Prefetch("picks", to_fetch()),
        "lines__words",
        Prefetch("packaging", BatchPackaging.objects.select_related("material")),
        Prefetch("changes", LineChange.objects.select_related("material")),
        "pickings__lacks",
        Prefetch("weighings", weighings),
        Prefetch("measurements", Measurement.objects.select_related("person")),
        "version__windows",
    )


def to_fetch() -> QuerySet[Pick]:
    """Picks with their lots, each with its `status`, the `place` where it lies, by name, and days.

    `until` is its last one: it expires then, or was opened and lasts only so long since. `ends` is
    the last one on which it may be used: it may have to be tested again before. None if neither.
    """
    own = {name: OuterRef(name) for name in ("coop_id", "maker_id", "lot_id")}
    kept = Custody.objects.filter(**own)
    place, use_by, status = (
        Subquery(kept.values(name)) for name in ("place__name", "use_by", "status")
    )
    return Pick.objects.select_related("lot__material").annotate(
        place=place,
        status=status,
        until=Least("lot__expires_on", use_by),
        ends=Least("lot__expires_on", "lot__retest_on", use_by),
    )


def locked_batch(actor: Actor, id: UUID | str, *, pointer: str = "") -> Batch:
    """A batch for whoever changes it: one at a time, until the transaction ends.

    The batch is locked before any pool of the ledger, by everyone. Raises NotFound.
    """
    rows = Batch.objects.select_for_update(of=("self",), no_key=True).select_related(
        "version__formula__material", "product__material"
    )
    return find(rows.filter(maker_id=actor.maker), id, pointer=pointer)


def fills_of(actor: Actor) -> QuerySet[Filling]:
    """The maker's fills, each with the `status` of its lot and whether it was `undone`.

    `weighed_grams` is the mean of its units when they were last weighed, if they were.

    Raises Forbidden.
    """
    actor.must(Verb.READ)
    custody = Custody.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot_id=OuterRef("lot_id")
    )
    undone = Entry.objects.filter(reverses=OuterRef("entry_id"), coop_id=OuterRef("coop_id"))
    weighed = UnitWeighing.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot_id=OuterRef("lot_id")
    )
    return (
        Filling.objects.select_related("lot", "bulk_lot")
        .filter(maker_id=actor.maker)
        .annotate(
            status=Subquery(custody.values("status")),
            undone=Exists(undone),
            weighed_grams=Subquery(weighed.order_by("-id").values("mean_grams")[:1]),
        )
    )


def standing(rows: QuerySet[Weighing]) -> QuerySet[Weighing]:
    """Only the weighings whose entry is not reversed."""
    undone = Entry.objects.filter(reverses=OuterRef("entry_id"), coop_id=OuterRef("coop_id"))
    return rows.filter(~Exists(undone))


def with_begun(batches: QuerySet[Batch]) -> QuerySet[Batch]:
    """The same, each with `begun`: whether anything that counts is weighed into it."""
    weighings = standing(Weighing.objects.filter(batch=OuterRef("pk")))
    return batches.annotate(begun=Exists(weighings))


def pourable(actor: Actor, id: UUID | str, *, pointer: str = "/lot") -> Custody:
    """The maker's own say over a lot, with the lot and its material, in one query.

    Raises NotFound, and LotNotReleased for a rejected lot, which is barred whatever the reason;
    the ledger itself refuses what a deviation may allow.
    """
    rows = Custody.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, maker_id=actor.maker
    )
    try:
        custody = rows.get(lot_id=UUID(str(id)))
    except (Custody.DoesNotExist, ValueError) as error:
        raise NotFound(pointer=pointer) from error
    if custody.status == Status.REJECTED:
        lot = custody.lot
        raise LotNotReleased(
            Sentence(
                "The lot {code} is rejected, and nothing of it may be used; take another lot.",
                code=lot.code,
            ),
            pointer=pointer,
            lot=str(lot.id),
            status=custody.status,
        )
    return custody


def id_of(text: UUID | str, pointer: str = "") -> UUID:
    """An id as it was typed. Raises NotFound for what is none."""
    try:
        return UUID(str(text))
    except ValueError as error:
        raise NotFound(pointer=pointer) from error
