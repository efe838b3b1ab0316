"""Which maker keeps the co-op's store: one of its own, named by whoever acts for the co-op."""

from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError, ProgrammingError

from ledger.access import Actor, acting_as
from ledger.co_op_store import may_keep, name_store, store_keeper
from ledger.errors import Forbidden, NotFound
from ledger.models import StoreNaming
from tests.factories import MORNING, open_workshop
from tests.ordering_together import coordinator, does

pytestmark = pytest.mark.usefixtures("database")


def test_the_coordinator_names_it_and_every_maker_knows() -> None:
    north = open_workshop("North Bench")
    store = open_workshop("Harbour Store", coop=north.coop)
    runs = coordinator(north)
    assert north.does(store_keeper) is None
    assert [one.name for one in does(runs, lambda actor: list(may_keep(actor)))] == [
        "Harbour Store",
        "North Bench",
    ]
    assert does(runs, name_store, maker=store.actor.maker, now=MORNING).name == "Harbour Store"
    for actor in (runs, north.actor, store.actor):
        assert does(actor, store_keeper).id == store.actor.maker
    other = open_workshop()
    assert other.does(store_keeper) is None
    with pytest.raises(Forbidden, match="named by the coordinator"):
        store.does(name_store, maker=None, now=MORNING)
    for foreign in (other.actor.maker, uuid4()):
        with pytest.raises(NotFound):
            does(runs, name_store, maker=foreign, now=MORNING)
    assert does(runs, name_store, maker=None, now=MORNING) is None
    assert north.does(store_keeper) is None


def test_postgresql_takes_no_other_co_op_s_maker_and_no_maker_s_word() -> None:
    north, other = open_workshop("North Bench"), open_workshop("Mill Bench")
    runs = coordinator(north)

    def written(actor: Actor, maker: UUID) -> None:
        about = {"named_at": MORNING, "person_id": actor.person_id}
        with acting_as(actor):
            StoreNaming.objects.create(coop_id=north.coop.id, keeper_id=maker, **about)

    with pytest.raises(IntegrityError, match="ledger_storenaming_keeper_id_fk"):
        written(runs, other.actor.maker)
    for actor in (north.actor, coordinator(other)):
        with pytest.raises(ProgrammingError, match="row-level security"):
            written(actor, north.actor.maker)
    written(runs, north.actor.maker)
    with pytest.raises(ProgrammingError, match="permission denied"):
        does(runs, lambda actor: StoreNaming.objects.update(keeper=None))
