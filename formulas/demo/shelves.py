"""Where the lots of the demo's first maker lie: cold, dry, and apart from both what waits."""

from typing import Final

from formulas.demo.bench import Bench
from formulas.demo.incidents import Incident
from ledger.access import Actor
from ledger.models import Custody, Status
from ledger.places import add_place, change_place, put_lot, some_left

COLD_SHELF, DRY_SHELF, FINISHED = "Cold shelf", "Dry shelf", "Finished goods"
WAITING, REJECTED, BY_THE_DOOR = "Quarantine shelf", "Reject box", "Shelf by the door"
SHELVES: Final = {
    COLD_SHELF: "",
    DRY_SHELF: "",
    FINISHED: "released",
    WAITING: "quarantine",
    REJECTED: "rejected",
    BY_THE_DOOR: "",
}
COLD: Final = ("rosemary", "lavender", "protein", "tocopherol")
# It was the last to be carried away when that shelf was wanted for something else.
STILL_BY_THE_DOOR: Final = "panthenol"


def lots_carried(bench: Bench, days_ago: int) -> None:
    """Every lot is put somewhere, and one is left where nothing should be left any more."""
    places = {
        name: bench.does(add_place, name=name, keeps=keeps) for name, keeps in SHELVES.items()
    }
    for lot in bench.does(_in_store):
        bench.does(put_lot, lot=lot.lot_id, place=places[_where(bench, lot)].id)
    by_the_door = {"place": places[BY_THE_DOOR].id, "version": None}
    bench.does(change_place, **by_the_door, now=bench.at(days_ago, 17), keeps=Status.QUARANTINE)


def _in_store(actor: Actor) -> list[Custody]:
    rows = Custody.objects.filter(some_left(), coop_id=actor.coop_id, maker_id=actor.maker)
    return list(rows.select_related("lot").order_by("lot_id"))


def _where(bench: Bench, lot: Custody) -> str:
    apart = {Status.QUARANTINE.value: WAITING, Status.REJECTED.value: REJECTED}
    if lot.status in apart:
        return apart[lot.status]
    if lot.lot.made_in_id and lot.status == Status.RELEASED:
        return FINISHED
    if lot.material_id == bench.materials[STILL_BY_THE_DOOR]:
        return BY_THE_DOOR
    cold = {bench.materials[name] for name in COLD}
    return COLD_SHELF if lot.material_id in cold else DRY_SHELF


SHELVED: Final = (Incident(1, "north", lots_carried),)
