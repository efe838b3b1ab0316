"""The co-op, its makers, and who works in them."""

from django.conf import settings
from django.db import models

from ledger.models.base import CoopRow, link


class Coop(models.Model):
    """Makers who buy and share together; the outermost wall."""

    id = models.UUIDField(primary_key=True, editable=False)
    slug = models.SlugField(max_length=60, unique=True)
    name = models.CharField(max_length=120)
    currency = models.CharField(max_length=3)
    time_zone = models.CharField(max_length=64)
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class Maker(CoopRow):
    """A member business with its own stock, formulas, costs and books."""

    name = models.CharField(max_length=120)
    mark = models.CharField(max_length=6, help_text="Begins the maker's lot codes, such as NB.")
    lots_numbered = models.PositiveIntegerField(default=0)
    batches_numbered = models.PositiveIntegerField(default=0)
    orders_numbered = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "mark"], name="maker_mark_once"),
            models.UniqueConstraint(fields=["coop", "name"], name="maker_name_once"),
        )

    def __str__(self) -> str:
        return self.name


class Membership(CoopRow):
    """A person's role in a maker, or in the co-op itself as its coordinator."""

    class Role(models.TextChoices):
        OWNER = "owner"
        BENCH = "bench"
        BOOKS = "books"
        READ_ONLY = "read-only"
        COORDINATOR = "coordinator"

    maker = link(Maker, null=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    role = models.CharField(max_length=12, choices=Role.choices)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "person"],
                nulls_distinct=False,
                name="membership_once",
            ),
            models.CheckConstraint(
                condition=models.Q(maker__isnull=True, role="coordinator")
                | models.Q(maker__isnull=False) & ~models.Q(role="coordinator"),
                name="coordinator_is_of_the_coop",
            ),
        )


class StoreNaming(CoopRow):
    """From then on a maker keeps the co-op's store, or (without one) nobody does. Only added."""

    keeper = link(Maker, null=True)
    named_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
