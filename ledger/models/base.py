"""What every table of a co-op has in common.

Django sees the primary key `id` and plain foreign keys without constraints; PostgreSQL has the
keys that hold the walls: primary key (coop_id, id), foreign keys inside one co-op and, for private
tables, inside one maker. They stand in ledger/sql/walls.sql.
"""

from decimal import Decimal
from typing import Any, Final

from django.db import models

from ledger.ids import new_id

# NUMERIC(18, 6) ends below this. PostgreSQL sorts NaN above every number, so `< FINITE` refuses it
# where `>= 0` alone would let it through.
FINITE: Final = Decimal(10**12)


def link(to: Any, **options: Any) -> "models.ForeignKey[Any, Any]":
    """A reference whose composite foreign key is written in SQL; deletion is refused."""
    options.setdefault("related_name", "+")
    options.setdefault("db_index", False)
    return models.ForeignKey(to, models.PROTECT, db_constraint=False, **options)


def quantity(**options: Any) -> "models.DecimalField[Any, Any]":
    """Grams, or a count for counted materials."""
    return models.DecimalField(max_digits=18, decimal_places=6, **options)


def money(**options: Any) -> "models.DecimalField[Any, Any]":
    """An amount in the co-op's currency, kept finer than its minor unit."""
    return models.DecimalField(max_digits=18, decimal_places=6, **options)


def any_left() -> models.GeneratedField:
    """Whether any of the row's quantity is left, for partial indexes.

    Were they to say `quantity > 0` themselves, each change of the quantity would write to every
    index of its table; this changes with the first gram and the last one alone.
    """
    return models.GeneratedField(
        expression=models.Q(quantity__gt=0),  # type: ignore[arg-type]
        output_field=models.BooleanField(),
        db_persist=True,
    )


def density(**options: Any) -> "models.DecimalField[Any, Any]":
    """Grams per millilitre."""
    return models.DecimalField(max_digits=16, decimal_places=12, null=True, **options)


def celsius() -> "models.DecimalField[Any, Any]":
    """Degrees Celsius."""
    return models.DecimalField(max_digits=6, decimal_places=2, null=True)


class CoopRow(models.Model):
    """A row that every maker of the co-op may see."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    coop = link("ledger.Coop")

    class Meta:
        abstract = True


class MakerRow(CoopRow):
    """A row that only its maker may see."""

    maker = link("ledger.Maker")

    class Meta(CoopRow.Meta):
        abstract = True
