"""What a lot was made in and went into, by the accounts and entries that the ledger knows it by."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Case, CharField, F, Value, When

from formulas.models import Batch, Filling
from ledger.access import Actor
from ledger.roles import Verb


def ends_of(
    actor: Actor, lot: UUID, accounts: Iterable[UUID], entries: Iterable[UUID]
) -> dict[UUID, tuple[str, UUID, str]]:
    """The maker's batches of these accounts and fills of these entries, by either, in one query.

    Each is "batches" or "fills", its id and what it is called: a batch by its code, a fill by the
    lot at its other end, of pieces or of bulk. Raises Forbidden.
    """
    actor.must(Verb.READ)
    kind = CharField()
    batches = Batch.objects.filter(maker_id=actor.maker, account_id__in=list(accounts))
    fills = Filling.objects.filter(maker_id=actor.maker, entry_id__in=list(entries))
    other = Case(When(bulk_lot_id=lot, then=F("lot__code")), default=F("bulk_lot__code"))
    rows = batches.values_list(
        "account_id", Value("batches", output_field=kind), "id", "code"
    ).union(fills.values_list("entry_id", Value("fills", output_field=kind), "id", other), all=True)
    return {key: (of, id, name) for key, of, id, name in rows}
