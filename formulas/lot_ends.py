"""What a lot was made in and went into, by the accounts and entries that the ledger knows it by."""

from collections.abc import Iterable
from uuid import UUID

from formulas.models import Batch, Filling
from ledger.access import Actor
from ledger.roles import Verb


def batches_by_account(actor: Actor, accounts: Iterable[UUID]) -> dict[UUID, tuple[UUID, str]]:
    """Of accounts of the maker's batches the id and the code of each batch, in one query.

    Raises Forbidden.
    """
    actor.must(Verb.READ)
    rows = Batch.objects.filter(maker_id=actor.maker, account_id__in=list(accounts))
    return {
        account: (id, code) for account, id, code in rows.values_list("account_id", "id", "code")
    }


def fills_by_entry(actor: Actor, entries: Iterable[UUID]) -> dict[UUID, Filling]:
    """The fills of these entries, with their lots of pieces and of bulk, in one query.

    Raises Forbidden.
    """
    actor.must(Verb.READ)
    rows = Filling.objects.select_related("lot", "bulk_lot")
    found = rows.filter(maker_id=actor.maker, entry_id__in=list(entries))
    return {one.entry_id: one for one in found}
