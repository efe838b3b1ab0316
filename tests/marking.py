"""Markup in every text that is kept, each with a sign of whose row and which column it is of.

It is written behind the application's back: as PostgreSQL's superuser, and with triggers off. So
no column is left out because no test happens to fill it, and a new one is marked like the others.
What a page shows can then be read by its signs: `<b id=H2f>` is a text of somebody else's row, in
the column that "2f" stands for.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from django.apps import apps
from django.contrib.auth import get_user_model
from django.db import models
from psycopg import Connection, sql
from psycopg.errors import IntegrityError

from ledger.access import acting_as
from ledger.models import Coop
from tests.factories import Workshop

# Whose a row is: the looker's own; the co-op's, which all of it know; another maker's that the
# walls leave to be seen, since it is between the two; another's that they hide; another co-op's.
OWN, KNOWN, BETWEEN, HIDDEN, ABROAD = "AKSHX"
SIGN: Final = re.compile(r"<b id=([AKSHX])([0-9a-z]{2})>")
# Whatever would end a text, an attribute or a script; into a short text the sign alone fits.
ENDS, ROOM = "&\"'", 40
DIGITS: Final = "0123456789abcdefghijklmnopqrstuvwxyz"
# What programs wrote for programs, and no person ever.
MACHINES: Final = {
    "api_answer.headers": "where a form that was sent again leads",
    "api_answer.key": "the key of a form",
    "ledger_alertmessage.body": "JSON, as it was signed",
    "ledger_material.function": "one of a list that the verb holds",
    "ledger_outbox.task": "the name of a task",
}
# Columns that take no markup: the database knows all that may stand in them, or all its letters.
OF_A_LIST: Final = {
    *("abc_class", "charge_kind", "currency", "density_of", "gtin", "joint_base", "kind", "mark"),
    *("measure", "rule", "spread_by"),
}
# Why no page and no file shows what is kept in a column.
UNSHOWN: Final = {
    "a quantity or density as it was typed: pages say what it came to": {
        *("formulas_byproduct.entered", "formulas_filling.entered", "formulas_making.entered"),
        *("formulas_jointproduct.entered", "formulas_packaging.entered", "ledger_claim.entered"),
        *("ledger_countcause.entered", "ledger_countreading.entered", "ledger_lot.density_entered"),
        *("ledger_offerbreak.entered", "ledger_purchaseorderfact.entered", "ledger_share.entered"),
        *("ledger_recallcontact.entered", "ledger_roundpledge.entered", "ledger_transfer.entered"),
    },
    "what stopped a long list, in English: pages tell it as their reader has it": {
        "api_sentlist.why"
    },
    "figures and ids, and the names of kinds that the verb holds": {
        *("api_preference.numbers", "formulas_filling.overrode", "formulas_product.areas"),
        *("formulas_unitweighing.contents", "formulas_waterfilling.pieces"),
        *("formulas_weighing.overrode", "ledger_alertsetting.told", "ledger_material.brings"),
        *("ledger_orderround.without", "ledger_recallanswer.corrected"),
        *("ledger_recallanswer.tally", "ledger_roundoutcome.by_size"),
        *("ledger_roundownalone.orders", "ledger_roundshare.alone_orders"),
        "ledger_roundshareline.dropped",
    },
    "for programs: the answer to a retry, and by what an alert is known again": {
        *("api_answer.body", "ledger_alert.state_key"),
    },
    "for whoever runs the server": {"ledger_outbox.last_error"},
}
# By table and by letter, in the order in which they were made.
Rows = dict[str, dict[str, list[Any]]]


@dataclass
class Marks:
    """What was marked: the columns by their signs, and those that the database keeps from it."""

    columns: dict[str, str] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)

    def of(self, text: str) -> set[tuple[str, str]]:
        """Whose texts stand in a text: the letter and the column of each sign."""
        return {(letter, self.columns[sign]) for letter, sign in SIGN.findall(text)}


def walled() -> list[type[models.Model]]:
    """Every model of a co-op or of a maker."""
    ours = [
        model
        for app in ("ledger", "formulas", "api")
        for model in apps.get_app_config(app).get_models()
    ]
    return [model for model in ours if "coop" in {one.name for one in model._meta.fields}]


def named() -> list[type[models.Model]]:
    """Those whose rows have an id; in the others nobody writes a text."""
    return [one for one in walled() if one._meta.pk.name == "id"]


def whose_rows(admin: Connection[Any], looker: Workshop) -> Rows:
    """The ids of all rows there are, by whose they are to the looker."""
    found: Rows = {}
    asked = {"ledger_coop": "select id, id, null::uuid from ledger_coop"}
    # A person is of the maker in whose name they act.
    asked["auth_user"] = "select person_id, coop_id, maker_id from ledger_membership"
    for model in named():
        maker = "maker_id" if "maker" in {one.name for one in model._meta.fields} else "null::uuid"
        table = model._meta.db_table
        asked[table] = f"select id, coop_id, {maker} from {table} order by id"
    seen = _seen(looker)
    for table, question in asked.items():
        for id, coop, owner in admin.execute(question):
            letter = _letter(looker, coop, owner, seen=id in seen.get(table, ()))
            found.setdefault(table, {}).setdefault(letter, []).append(id)
    return found


def _seen(looker: Workshop) -> dict[str, set[Any]]:
    """What the walls leave to the looker, whatever a query may forget; and itself."""
    with acting_as(looker.actor):
        seen = {
            model._meta.db_table: set(model._default_manager.values_list("id", flat=True))
            for model in named()
        }
    return seen | {"ledger_coop": {looker.coop.id}, "auth_user": {looker.actor.person_id}}


def _letter(looker: Workshop, coop: Any, owner: Any, *, seen: bool) -> str:
    if coop != looker.actor.coop_id:
        return ABROAD
    if not seen:
        return HIDDEN
    if owner is None:
        return KNOWN
    return OWN if owner == looker.actor.maker else BETWEEN


def mark_every_text(admin: Connection[Any], rows: Rows) -> Marks:
    """Mark every text of all co-ops, each with the letter of its row."""
    marks = Marks()
    admin.execute("set session_replication_role = replica")
    for number, (model, column) in enumerate(texts()):
        table = model._meta.db_table
        sign = DIGITS[number // len(DIGITS)] + DIGITS[number % len(DIGITS)]
        marks.columns[sign] = f"{table}.{column.column}"
        mark = _mark_json if isinstance(column, models.JSONField) else _mark_texts
        done = [
            mark(admin, column, f"<b id={letter}{sign}>", ids)
            for letter, ids in rows.get(table, {}).items()
        ]
        if not all(done):
            marks.refused.add(marks.columns[sign])
    admin.execute("set session_replication_role = default")
    return marks


def texts() -> Iterator[tuple[type[models.Model], Any]]:
    """Every column of free text."""
    people = get_user_model()
    yield people, people._meta.get_field("username")
    yield Coop, Coop._meta.get_field("name")
    for model in named():
        for one in model._meta.concrete_fields:
            text = isinstance(one, (models.CharField, models.TextField)) and not one.choices
            words = text or isinstance(one, models.JSONField)
            if words and f"{model._meta.db_table}.{one.column}" not in MACHINES:
                yield model, one


def _mark_texts(admin: Connection[Any], column: Any, sign: str, ids: list[Any]) -> bool:
    """Add the mark to each text, or where the database refuses it, to those that say something.

    False for a column that takes none at all: what is kept in it has no markup in any case.
    """
    mark = sign + (ENDS if (column.max_length or ROOM) >= ROOM else "")
    kept = (column.max_length or 10_000) - len(mark)
    if kept < 0:
        return False
    name, table = sql.Identifier(column.column), sql.Identifier(column.model._meta.db_table)
    write = sql.SQL("update {} set {} = left({}, {}) || {} where id = any({})").format(
        table, name, name, sql.Literal(kept), sql.Literal(mark), sql.Literal(ids)
    )
    for only in ("", " and {} <> ''"):
        try:
            admin.execute(write + sql.SQL(only).format(name))
        except IntegrityError:
            continue
        return True
    return False


def _mark_json(admin: Connection[Any], column: Any, sign: str, ids: list[Any]) -> bool:
    """Add the mark to what people say in each JSON; false as above."""
    name, table = sql.Identifier(column.column), sql.Identifier(column.model._meta.db_table)
    asked = sql.SQL("select id, {} from {} where id = any(%s) and {} is not null")
    write = sql.SQL("update {} set {} = %s where id = %s").format(table, name)
    try:
        for id, kept in admin.execute(asked.format(name, table, name), [ids]).fetchall():
            admin.execute(write, [json.dumps(_marked(kept, sign + ENDS)), id])
    except IntegrityError:
        return False
    return True


def _marked(kept: Any, mark: str) -> Any:
    """Figures, ids and the names of kinds have no space and no capital; people's words have."""
    if isinstance(kept, dict):
        return {name: _marked(one, mark) for name, one in kept.items()}
    if isinstance(kept, list):
        return [_marked(one, mark) for one in kept]
    words = isinstance(kept, str) and re.search(r"[A-Z ]", kept)
    return f"{kept}{mark}" if words else kept
