"""Which maker keeps the co-op's store."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads, writes
from api.rest import settlement_examples as examples
from api.rest.fields import Body, Id
from api.rest.transfers import PartyOut
from ledger.access import Actor
from ledger.co_op_store import name_store, store_keeper
from ledger.models import Maker


class CoOpStoreIn(Body):
    maker = Id(allow_null=True, help_text="null: none keeps it any more.")


class CoOpStoreOut(serializers.Serializer[Any]):
    maker = PartyOut(allow_null=True, help_text="null where none keeps it.")


class CoOpStore(Resource):
    """The maker that keeps the co-op's store."""

    @reads(None, CoOpStoreOut)
    def get(self, actor: Actor) -> dict[str, Any]:
        """Show which maker keeps it: to it balances are told like to any other."""
        return {"maker": store_json(store_keeper(actor))}

    @writes(CoOpStoreIn, CoOpStoreOut, status=200, keyed=False, examples=examples.CO_OP_STORE)
    def put(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Say which maker keeps it, for the co-op. Nothing moves, and nobody owes more."""
        return {"maker": store_json(name_store(actor, **data, now=self.now))}


def store_json(keeper: Maker | None) -> dict[str, str] | None:
    """The maker that keeps it, as other answers name it."""
    return None if keeper is None else {"id": str(keeper.id), "name": keeper.name}
