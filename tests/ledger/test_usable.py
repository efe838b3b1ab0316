"""Only what may be used is used: released, in date on the day, never what was rejected."""

from datetime import timedelta

import pytest

from ledger.errors import LotExpired, LotNotReleased
from tests.ledger.bench import now
from tests.ledger.books import Books, ago

pytestmark = pytest.mark.usefixtures("database")


@pytest.mark.parametrize("kind", ["draw", "sale", "fill"])
def test_only_a_lot_that_may_be_used_is_used(kind: str) -> None:
    books = Books()
    today = now().date()
    for status in ("quarantine", "hold", "rejected"):
        barred = books.lot("10", "10", status=status)
        with pytest.raises(LotNotReleased) as refused:
            books.take(barred, "1", "making", kind=kind)
        facts = {"lot": str(barred.id), "code": barred.code, "status": status}
        assert refused.value.facts == facts
        if status == "rejected":
            with pytest.raises(LotNotReleased, match="no reason makes it usable"):
                books.take(barred, "1", "making", kind=kind, deviation="the buyer was told")
            continue
        books.take(barred, "1", "making", kind=kind, deviation="the buyer was told")
        assert books.held(barred)[0] == 9
    late = books.lot("10", "10", expires_on=today - timedelta(days=2), on=ago(9))
    with pytest.raises(LotExpired) as expired:
        books.take(late, "1", "making", kind=kind)
    assert expired.value.facts["last_day"] == today - timedelta(days=2)
    books.take(late, "1", "making", kind=kind, on=ago(2))
    books.take(late, "1", "loss")
