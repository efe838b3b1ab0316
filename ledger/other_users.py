"""Who else in the co-op uses a material, as far as each lets it be known."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import Func, JSONField

_OTHERS: Final = "select material_id, makers, names from ledger_other_users(%s::uuid[])"


@dataclass(frozen=True, slots=True)
class OtherUsers:
    """How many other makers use it, and those of them who are named."""

    makers: int = 0
    names: tuple[str, ...] = ()

    @classmethod
    def told(cls, others: Mapping[str, Any]) -> "OtherUsers":
        """As `others_of` has them."""
        return cls(others["makers"], tuple(others["names"]))


NOBODY: Final = OtherUsers()


def others_of(material: str) -> Func:
    """The same of the material that a column names, as a part of another query; null for nobody."""
    return Func(
        material,
        template="(select jsonb_build_object('makers', o.makers, 'names', o.names)"
        " from ledger_other_users(array[%(expressions)s]) o)",
        output_field=JSONField(),
    )


def other_users(materials: Collection[UUID]) -> Mapping[UUID, OtherUsers]:
    """By material, in one query within the maker's walls; of what nobody is known to use, nothing.

    A maker uses what it has in store or watches, and is told of only if it chose so.
    """
    if not materials:
        return {}
    with connection.cursor() as cursor:
        cursor.execute(_OTHERS, [sorted(set(materials))])
        return {material: OtherUsers(makers, tuple(names)) for material, makers, names in cursor}
