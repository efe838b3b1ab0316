"""A copy of all that a maker has, table by table, as it stands in the database.

So that nobody is held by this server, and whoever may see the records can have them at once (21 USC
364c and 364e: access to records; common practice). Which tables go into it is derived from the
models: a new one is in it, or stands below with the reason why not. Who did a thing is told by an
id that `person` names, and of the maker's own people alone.
"""

from collections.abc import Callable, Iterator, Mapping, Set
from dataclasses import dataclass
from typing import Any, Final

from django.apps import apps
from django.contrib.auth import get_user_model
from django.db import connection
from django.db.models import Model, Q

from ledger.access import Actor
from ledger.errors import Conflict
from ledger.models import Membership
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Others:
    """Of a table that holds rows of others too: what is not told of these.

    `owner` is the column that names the maker whose row it is; nobody there, or "", is the whole
    co-op. `untold` are the columns that are told of own rows alone.
    """

    owner: str = ""
    untold: frozenset[str] = frozenset()


# Behind a maker's wall; where another maker writes to it, its rows are there as well.
OWN: Final = Others("maker_id")
# How much a maker does is its own affair: it could be read from how far its numbers have come.
NUMBERS: Final = frozenset({"lots_numbered", "batches_numbered", "orders_numbered"})
# Of two makers, what both pay less what the one pays is what the other does.
SUMS: Final = frozenset({"together", "apart", "shared", "bound", "over_budget"})
# What all makers of the co-op read.
SHARED: Final[Mapping[str, Others]] = {
    "ledger_clearing": Others(),
    "ledger_coop": Others(),
    "ledger_lot": Others("origin_id", frozenset({"made_in_id"})),
    "ledger_maker": Others("id", NUMBERS),
    "ledger_material": OWN,
    "ledger_materialmaximum": OWN,
    "ledger_materialpart": OWN,
    "ledger_offer": OWN,
    "ledger_offerbreak": OWN,
    "ledger_offerprice": OWN,
    "ledger_orderround": Others("buyer_id"),
    "ledger_roundbuyer": Others("buyer_id"),
    "ledger_roundbuyeranswer": Others(),
    "ledger_roundclosing": Others(),
    "ledger_roundoutcome": Others("", SUMS),
    "ledger_share": Others("giver_id"),
    "ledger_storenaming": Others("keeper_id"),
    "ledger_supplier": Others(),
    "ledger_supplierterms": OWN,
}
LEFT_OUT: Final = {
    "ledger_sweep": "when the worker last looked",
    "ledger_outbox": "what the worker is still to do",
    "ledger_alertmessage": "what was sent, of alerts that are in it",
    "ledger_roundhandout": "its sum may tell what another paid; each maker's portion is in it",
    "ledger_roundlatebill": "its sum may tell what another paid; each maker's part is in it",
}
# The bytes of a file are asked for by its id; the walls themselves say nothing.
NOT_TOLD: Final = frozenset({"content", "sha256"})
# Written for a maker by another as well: a payment, which either of the two tells.
BY_OTHERS_TOO: Final = frozenset({"ledger_entry"})
# So many rows are at hand at a time.
AT_HAND: Final = 2_000
_ONE_AT_A_TIME: Final = "select pg_try_advisory_xact_lock(hashtextextended(%s, 0))"


@dataclass(frozen=True, slots=True)
class Copied:
    """One table: what it is about, its columns, and its rows, which are read as they are taken."""

    name: str
    about: str
    columns: tuple[str, ...]
    rows: Iterator[tuple[Any, ...]]


def whole_copy(actor: Actor) -> Iterator[Copied]:
    """Every table with what the maker has in it. Raises Forbidden, Conflict while one is made."""
    actor.must(Verb.COPY)
    with connection.cursor() as cursor:
        cursor.execute(_ONE_AT_A_TIME, [f"copy of {actor.maker}"])
        if not cursor.fetchone()[0]:
            raise Conflict("A copy is being made for you already; wait for that one.")
    people = _people(actor)
    for model in copied_models():
        yield _copied(actor, model, people)
    yield _named(people)


def copied_models() -> list[type[Model]]:
    """The models whose tables go into a copy, by the names of these."""
    models = (model for app in ("ledger", "formulas") for model in _models(app))
    return sorted(models, key=lambda model: model._meta.db_table)


def _models(app: str) -> Iterator[type[Model]]:
    for model in apps.get_app_config(app).get_models():
        if model._meta.db_table not in LEFT_OUT:
            yield model


def _copied(actor: Actor, model: type[Model], people: Set[int]) -> Copied:
    table, told = model._meta.db_table, columns_of(model)
    rows: Any = model._base_manager.filter(_own(actor, model))
    rows = rows.order_by(*(field.attname for field in model._meta.pk_fields))
    found = rows.values_list(*told).iterator(chunk_size=AT_HAND)
    of_maker = _of_maker(actor, model, told, people)
    return Copied(table.partition("_")[2], _about(model), told, map(of_maker, found))


def columns_of(model: type[Model]) -> tuple[str, ...]:
    """The columns that a copy tells, of own rows or of all."""
    others = SHARED.get(model._meta.db_table, OWN)
    never = NOT_TOLD if others.owner else NOT_TOLD | others.untold
    names = (field.attname for field in model._meta.concrete_fields)
    return tuple(name for name in names if name not in never)


def _about(model: type[Model]) -> str:
    return " ".join((model.__doc__ or "").partition("\n\n")[0].split())


def _own(actor: Actor, model: type[Model]) -> Q:
    """Which rows are the maker's; the walls of the database hold as well."""
    if model._meta.db_table in SHARED:
        return Q()
    own = Q(maker_id=actor.maker)
    return own | Q(to_maker_id=actor.maker) if _has(model, "to_maker") else own


def _of_maker(
    actor: Actor, model: type[Model], columns: tuple[str, ...], people: Set[int]
) -> Callable[[tuple[Any, ...]], tuple[Any, ...]]:
    """A row as the maker may have it: nobody of another maker, and of others' rows not all."""
    others = SHARED.get(model._meta.db_table, OWN)
    owner = columns.index(others.owner) if others.owner else None
    persons = [columns.index(name) for name in persons_of(model)]
    untold = [columns.index(name) for name in others.untold if name in columns]
    if not persons and not untold:
        return tuple

    def told(row: tuple[Any, ...]) -> tuple[Any, ...]:
        whose = None if owner is None else row[owner]
        hidden = [] if whose == actor.maker else untold
        if whose not in (None, actor.maker):
            hidden = [*hidden, *persons]
        hidden = [*hidden, *(place for place in persons if row[place] not in people)]
        return tuple(None if place in hidden else cell for place, cell in enumerate(row))

    return told


def persons_of(model: type[Model]) -> tuple[str, ...]:
    """The columns of a table that name a person."""
    person = get_user_model()
    fields = model._meta.concrete_fields
    return tuple(field.attname for field in fields if field.related_model is person)


def _people(actor: Actor) -> set[int]:
    """Who works for the maker, or did: they have written what nobody else writes for it."""
    found: Any = Membership.objects.filter(maker_id=actor.maker).values_list("person_id")
    wrote = (
        model._base_manager.filter(maker_id=actor.maker).values_list(name)
        for model in copied_models()
        if not {model._meta.db_table} & (BY_OTHERS_TOO | SHARED.keys())
        and not _has(model, "to_maker")
        for name in persons_of(model)
    )
    return {person for (person,) in found.union(*wrote) if person is not None}


def _named(people: Set[int]) -> Copied:
    """Who they are, by what they sign in with; the rest of what is kept of them is their own."""
    rows: Any = get_user_model()._base_manager.filter(id__in=people).order_by("id")
    about = "Who works for the maker, or did; other tables name them by id."
    return Copied(
        "person", about, ("id", "username"), rows.values_list("id", "username").iterator()
    )


def _has(model: type[Model], field: str) -> bool:
    return any(one.name == field for one in model._meta.concrete_fields)
