"""Lots, who has them, and how much of them lies where."""

from django.conf import settings
from django.db import models

from ledger.models.base import (
    FINITE,
    CoopRow,
    MakerRow,
    any_left,
    celsius,
    density,
    link,
    money,
    quantity,
)
from ledger.models.catalogue import CostFormula


class Account(MakerRow):
    """Where stock or value can be: a store, a batch in process, a supplier, loss, sales."""

    class Kind(models.TextChoices):
        STORE = "store"
        BATCH = "batch"
        SUPPLIER = "supplier"
        SOURCE = "source"
        OPENING = "opening"
        MAKING = "making"
        LABOUR = "labour"
        OVERHEAD = "overhead"
        SALES = "sales"
        ISSUE = "issue"
        LOSS = "loss"
        COST_DIFFERENCE = "cost_difference"
        CONSIGNMENT = "consignment"
        SETTLEMENT = "settlement"
        TRANSFER = "transfer"
        MONEY = "money"
        LOAN = "loan"
        DEPOSIT = "deposit"

    # Goods lie in these; PostgreSQL refuses a holding below zero in them.
    HOLDS_GOODS = (Kind.STORE, Kind.BATCH, Kind.CONSIGNMENT)

    kind = models.CharField(max_length=16, choices=Kind.choices)
    name = models.CharField(max_length=120)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "kind", "name"], name="account_name_once"
            ),
        )

    def __str__(self) -> str:
        return self.name


class Lot(CoopRow):
    """One origin, one supplier lot code, one expiry. The co-op's row, seen by its holders."""

    code = models.CharField(max_length=16)
    material = link("ledger.Material")
    origin = link("ledger.Maker")
    supplier = link("ledger.Supplier", null=True)
    supplier_lot = models.CharField(max_length=80, blank=True)
    made_in = link("ledger.Account", null=True)
    arrived_on = models.DateField()
    expires_on = models.DateField(null=True)
    retest_on = models.DateField(null=True)
    dates_note = models.CharField(max_length=200, blank=True)
    density = density()
    density_at = celsius()
    density_entered = models.CharField(max_length=64, blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "code"], name="lot_code_once"),
            models.CheckConstraint(
                condition=models.Q(density__isnull=True) | models.Q(density__gt=0, density__lt=30),
                name="lot_density_plausible",
            ),
            models.CheckConstraint(
                condition=models.Q(expires_on__isnull=True)
                | models.Q(expires_on__gte=models.F("arrived_on")),
                name="lot_expires_after_arrival",
            ),
            models.CheckConstraint(
                condition=models.Q(retest_on__isnull=True)
                | models.Q(retest_on__gte=models.F("arrived_on")),
                name="lot_retest_after_arrival",
            ),
        )
        indexes = (models.Index(fields=["coop", "material"], name="lot_by_material"),)

    def __str__(self) -> str:
        return self.code


class Status(models.TextChoices):
    """What a lot's holder has decided about it (ISO 22716 6.4)."""

    QUARANTINE = "quarantine"
    RELEASED = "released"
    REJECTED = "rejected"
    HOLD = "hold"


class Custody(models.Model):
    """A maker's say over a lot it has or had: its status there, where it lies, and since when it is
    open; `opened_on` and `use_by` are those of its last opening."""

    pk = models.CompositePrimaryKey("coop_id", "maker_id", "lot_id")
    coop = link("ledger.Coop")
    maker = link("ledger.Maker")
    lot = link(Lot)
    material = link("ledger.Material")
    status = models.CharField(max_length=10, choices=Status.choices)
    since = models.DateTimeField(auto_now_add=True)
    # Where it was put last; PostgreSQL keeps it equal to the latest placing.
    place = link("ledger.Place", null=True)
    opened_on = models.DateField(null=True)
    use_by = models.DateField(null=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(use_by__isnull=True)
                | models.Q(opened_on__isnull=False, use_by__gt=models.F("opened_on")),
                name="custody_used_within_days_of_opening",
            ),
        )
        # The maker last: otherwise the index would seem as good as the key for finding one lot of a
        # maker, and read through all that the maker has had.
        indexes = (
            models.Index(fields=["coop", "material", "maker"], name="custody_by_material"),
            models.Index(
                fields=["coop", "maker", "place"],
                condition=models.Q(place__isnull=False),
                name="custody_by_place",
            ),
        )


class Decision(MakerRow):
    """Who released, rejected or held a lot, when, and on what basis (ISO 22716 6.5).

    `cause` is the decision about another lot, from which this one was made.
    """

    lot = link(Lot)
    decision = models.CharField(max_length=10)
    basis = models.CharField(max_length=400)
    retest_on = models.DateField(null=True, help_text="The new retest date, if it was retested.")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    cause = link("self", null=True)
    decided_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = (models.Index(fields=["coop", "maker", "lot"], name="decision_by_lot"),)


class Holding(models.Model):
    """How much of a lot one account has, and the value that came with it.

    Kept by `post_entry` in the transaction that adds the postings, and equal to their sum.
    """

    pk = models.CompositePrimaryKey("coop_id", "account_id", "lot_id")
    coop = link("ledger.Coop")
    account = link(Account)
    lot = link(Lot)
    maker = link("ledger.Maker")
    material = link("ledger.Material")
    kind = models.CharField(max_length=16, choices=Account.Kind.choices)
    quantity = quantity()
    value = money()
    last_on = models.DateField()
    any_left = any_left()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=~models.Q(kind__in=["store", "batch", "consignment"])
                | models.Q(quantity__gte=0) & models.Q(quantity__lt=FINITE),
                name="holding_not_negative",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind__in=["batch", "consignment"])
                | models.Q(value__gte=0) & (models.Q(quantity__gt=0) | models.Q(value=0)),
                name="holding_empty_has_no_value",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "lot"], name="holding_by_lot"),
            models.Index(
                fields=["coop", "maker", "material", "lot"],
                condition=models.Q(kind="store", any_left=True),
                name="holding_in_store",
            ),
        )


class Pool(models.Model):
    """All of one material that a maker has in store, under one cost formula.

    Its row is the lock: whoever moves any of the material takes it first.
    """

    pk = models.CompositePrimaryKey("coop_id", "maker_id", "material_id")
    coop = link("ledger.Coop")
    maker = link("ledger.Maker")
    material = link("ledger.Material")
    cost_formula = models.CharField(max_length=7, choices=CostFormula.choices)


class Layer(MakerRow):
    """What is left of one receipt's cost, in order of receipt.

    A moving average has one layer without a lot; the other formulas have one a lot.
    """

    material = link("ledger.Material")
    lot = link(Lot, null=True)
    ordinal = models.PositiveIntegerField()
    quantity = quantity()
    value = money()
    any_left = any_left()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "material", "lot"],
                nulls_distinct=False,
                name="layer_once",
            ),
            models.CheckConstraint(
                condition=models.Q(quantity__gte=0, quantity__lt=FINITE, value__gte=0)
                & models.Q(value__lt=FINITE),
                name="layer_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(quantity__gt=0) | models.Q(value=0),
                name="layer_empty_has_no_value",
            ),
        )
        indexes = (
            # Layers that are used up stay; nothing that is asked often may read through them.
            models.Index(
                fields=["coop", "maker", "material", "ordinal"],
                condition=models.Q(any_left=True),
                name="layer_left",
            ),
        )


class Reservation(models.Model):
    """What a planned batch has been promised of a lot; not a posting."""

    pk = models.CompositePrimaryKey("coop_id", "account_id", "lot_id")
    coop = link("ledger.Coop")
    account = link(Account)
    lot = link(Lot)
    maker = link("ledger.Maker")
    material = link("ledger.Material")
    quantity = quantity()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(quantity__gte=0, quantity__lt=FINITE),
                name="reservation_not_negative",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "lot"], name="reservation_by_lot"),
            models.Index(fields=["coop", "maker", "material"], name="reservation_by_material"),
        )


class Shortfall(models.Model):
    """What a planned batch needs of a material beyond what it could be promised; not a posting."""

    pk = models.CompositePrimaryKey("coop_id", "account_id", "material_id")
    coop = link("ledger.Coop")
    account = link(Account)
    material = link("ledger.Material")
    maker = link("ledger.Maker")
    quantity = quantity()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(quantity__gte=0, quantity__lt=FINITE),
                name="shortfall_not_negative",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "maker", "material"], name="shortfall_by_material"),
        )
