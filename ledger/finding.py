"""Looking for what is called so, or nearly so."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, TypeVar

from django.db.models import CharField, F, Func, Model, QuerySet, Value
from django.db.models.functions import Concat, Lower
from django.db.models.lookups import Contains, Exact

from ledger.access import Actor, materials_visible_to
from ledger.balances import Stock, stock
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.models import Custody, Material
from ledger.roles import Verb
from ledger.spelling import APART, nearest, run_together

Row = TypeVar("Row", bound=Model)
# So many names are compared with what is looked for, where nothing is called so.
MOST_COMPARED: Final = 3000


@dataclass(frozen=True, slots=True)
class Found:
    """A material, and the maker's stock of it where it is stocked."""

    material: Material
    stock: Stock | None


def words_of(text: str, most: int = 6) -> list[str]:
    """The words of a search, in small letters; each must stand somewhere in what is found."""
    return [word for word in text.lower().split() if word][:most]


def find_materials(
    actor: Actor, words: Sequence[str], *, now: datetime, limit: int, skip: int = 0
) -> list[Found]:
    """Materials whose name, INCI name or CAS number has all the words, by name, in two queries."""
    actor.must(Verb.READ)
    rows = list(_called(actor, words).order_by(Lower("name"), "id")[skip : skip + limit])
    stocked = [row.id for row in rows if row.stocked]
    held = {one.material_id: one for one in stock(actor, now=now, materials=stocked, limit=limit)}
    return [Found(row, held.get(row.id)) for row in rows]


def material_named(actor: Actor, name: str, *, pointer: str = "/material") -> Material:
    """The material of a name, in any capitals; the oldest where two are called alike.

    Raises Invalid.
    """
    for material in materials_visible_to(actor).filter(name__iexact=name).order_by("id")[:1]:
        return material
    # What the co-op buys and what the maker makes may be called alike: it is said once.
    alike = dict.fromkeys(one.name for one in materials_nearly(actor, words_of(name)))
    near = ", ".join(alike)
    if near:
        why = Sentence(
            "No material is called {name!r}. Spelled nearly so: {near}.", name=name, near=near
        )
    else:
        why = Sentence(
            "No material is called {name!r}: choose one from the list, or add it first.", name=name
        )
    raise Invalid(why, pointer=pointer)


@dataclass(frozen=True, slots=True)
class Near:
    """What is spelled nearly as what was looked for."""

    id: Any
    name: str


def having(rows: "QuerySet[Row]", words: Sequence[str]) -> "QuerySet[Row]":
    """Those of the rows whose name has all the words, in whatever order.

    What is written apart there may be written together: "250ml" is in "Hand wash 250 mL".
    """
    return _with_words(rows, F("name"), words)


def _with_words(rows: "QuerySet[Row]", called: Any, words: Sequence[str]) -> "QuerySet[Row]":
    written = CharField()
    apart = Func(Lower(called), Value(APART), Value(""), function="translate", output_field=written)
    for word in words:
        rows = rows.filter(Contains(apart, run_together(word)))
    return rows


def nearly(rows: "QuerySet[Any]", words: Sequence[str], *also: str) -> list[Near]:
    """Those of the rows that are called nearly so, in one query; `also` are further names."""
    if not words:
        return []
    named = rows.order_by("name", "id").values_list("id", "name", *also)[:MOST_COMPARED]
    called = ((Near(id, name), " ".join((name, *more))) for id, name, *more in named)
    return [near for near, _ in nearest(called, words)]


def materials_nearly(actor: Actor, words: Sequence[str]) -> list[Near]:
    """Materials that the maker may see and that are called nearly so."""
    return nearly(materials_visible_to(actor), words, "inci_name")


def lots_nearly(actor: Actor, words: Sequence[str]) -> list[Near]:
    """Materials called nearly so of which the maker has or had a lot."""
    held = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    rows = Material.objects.filter(coop_id=actor.coop_id, id__in=held.values("material_id"))
    return nearly(rows, words, "inci_name")


def called_like(rows: "QuerySet[Row]", name: str) -> "QuerySet[Row]":
    """Those of the rows whose name is this one, whatever the capitals and spaces."""
    return rows.filter(Exact(_folded(F("name")), _folded(Value(name))))


def _folded(name: Any) -> Lower:
    """A name in small letters and without its spaces."""
    spaces, every = Value(r"\s+"), Value("g")
    written = CharField()
    return Lower(
        Func(name, spaces, Value(""), every, function="regexp_replace", output_field=written)
    )


def _called(actor: Actor, words: Sequence[str]) -> "QuerySet[Material]":
    rows = materials_visible_to(actor)
    bar = Value("|")
    return _with_words(rows, Concat(F("name"), bar, F("inci_name"), bar, F("cas_number")), words)
