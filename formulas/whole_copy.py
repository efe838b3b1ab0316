"""A copy of all that a maker has, table by table, as it stands in the database.

So that nobody is held by this server, and whoever may see the records can have them at once (21 USC
364c and 364e: access to records; common practice). Which tables go into it is derived from the
models: a new one is in it, or stands below with the reason why not.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from django.apps import apps
from django.db import connection
from django.db.models import Model, Q

from ledger.access import Actor
from ledger.errors import Conflict
from ledger.roles import Verb

# What all makers of the co-op read; who wrote it is not theirs to know.
SHARED: Final = frozenset(
    {
        *("ledger_coop", "ledger_maker", "ledger_material", "ledger_materialpart"),
        *("ledger_materialmaximum", "ledger_supplier", "ledger_supplierterms", "ledger_offer"),
        *("ledger_offerprice", "ledger_offerbreak", "ledger_orderround", "ledger_share"),
        "ledger_lot",
    }
)
LEFT_OUT: Final = {
    "ledger_sweep": "when the worker last looked",
    "ledger_outbox": "what the worker is still to do",
    "ledger_alertmessage": "what was sent, of alerts that are in it",
    "ledger_roundbuyer": "the coordinator's",
    "ledger_roundbuyeranswer": "the coordinator's",
    "ledger_roundclosing": "the coordinator's",
    "ledger_roundoutcome": "the coordinator's",
    "ledger_roundhandout": "the buyer's; each maker's portion is in it",
    "ledger_roundlatebill": "the buyer's; each maker's part is in it",
    "ledger_storenaming": "the coordinator's",
    "ledger_clearing": "the coordinator's; each maker's payment is in it",
}
# The bytes of a file are asked for by its id; the walls themselves say nothing.
NOT_TOLD: Final = frozenset({"content", "sha256"})
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
    for model in copied_models():
        yield _copied(actor, model)


def copied_models() -> list[type[Model]]:
    """The models whose tables go into a copy, by the names of these."""
    models = (model for app in ("ledger", "formulas") for model in _models(app))
    return sorted(models, key=lambda model: model._meta.db_table)


def _models(app: str) -> Iterator[type[Model]]:
    for model in apps.get_app_config(app).get_models():
        if model._meta.db_table not in LEFT_OUT:
            yield model


def _copied(actor: Actor, model: type[Model]) -> Copied:
    table = model._meta.db_table
    columns = tuple(
        field.attname
        for field in model._meta.concrete_fields
        if field.name not in NOT_TOLD and not (table in SHARED and field.name == "person")
    )
    rows: Any = model._base_manager.filter(_own(actor, model))
    rows = rows.order_by(*(field.attname for field in model._meta.pk_fields))
    found = rows.values_list(*columns).iterator(chunk_size=AT_HAND)
    about = " ".join((model.__doc__ or "").partition("\n\n")[0].split())
    told = map(_without_others(actor, columns), found)
    return Copied(table.partition("_")[2], about, columns, told)


def _own(actor: Actor, model: type[Model]) -> Q:
    """Which rows are the maker's; the walls of the database hold as well."""
    names = {field.name for field in model._meta.concrete_fields}
    if model._meta.db_table in SHARED:
        return Q()
    own = Q(maker_id=actor.maker)
    return own | Q(to_maker_id=actor.maker) if "to_maker" in names else own


def _without_others(
    actor: Actor, columns: tuple[str, ...]
) -> Callable[[tuple[Any, ...]], tuple[Any, ...]]:
    """A row as it is, without the person where another maker wrote it."""
    if not {"maker_id", "to_maker_id", "person_id"} <= set(columns):
        return tuple
    maker, person = columns.index("maker_id"), columns.index("person_id")

    def told(row: tuple[Any, ...]) -> tuple[Any, ...]:
        if row[maker] == actor.maker:
            return row
        return (*row[:person], None, *row[person + 1 :])

    return told
