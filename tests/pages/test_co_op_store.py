"""The maker that keeps the co-op's store, named by the coordinator and told on pages."""

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.factories import open_workshop
from tests.ordering_together import opened
from tests.pages.browsing import done, refused, sent, shown, signed_in
from tests.pages.looking import looked_at
from tests.pages.test_rounds import for_the_co_op, received

MOST = 15


def test_it_is_named_where_makers_settle_and_share(database: Any, redis_server: Any) -> None:
    buyer = open_workshop("North Bench")
    other = open_workshop("Mill Bench", coop=buyer.coop)
    round, receipt = received(buyer, other, "For the store as well")
    run, north, mill = for_the_co_op(buyer), signed_in(buyer), signed_in(other)
    done(north, f"/order-rounds/{round.id}/hand-out")
    kept = "Mill Bench the co-op's store"
    assert kept not in shown(north.get("/settlement"))
    assert kept in done(run, "/settlement", do="store", maker=str(other.actor.maker))
    assert sent(north, "/settlement", do="store", maker=str(buyer.actor.maker)).status_code == 403
    assert "that are offered" in refused(run, "/settlement", do="store", maker=str(receipt.id))
    assert kept in shown(north.get("/settlement"))
    assert kept in shown(north.get("/settlement/statement"))
    lot = other.receive(other.material("Left of a drum"), "5 kg", "50.00")
    done(mill, f"/lots/{lot.id}/share", terms="cost")
    assert kept in shown(north.get("/co-op"))
    now = datetime.now(UTC)
    later = opened(buyer, name="The next one", now=now, closes_at=now + timedelta(days=1))
    assert "You keep the co-op's store" in shown(mill.get(f"/order-rounds/{later.id}"))
    told = shown(north.get(f"/order-rounds/{later.id}"))
    assert "Mill Bench keeps the co-op's store" in told
    for path in ("/settlement", "/settlement/statement", "/co-op"):
        assert looked_at(north, path).queries <= MOST
    assert kept not in done(run, "/settlement", do="store", maker="")
    assert kept not in shown(north.get("/settlement"))
