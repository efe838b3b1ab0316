"""Complaints on pages: linked to what was made, answered and closed, with what the law asks for."""

import uuid
from typing import Any

import pytest

from ledger.models import Membership
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in, typed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_a_complaint_from_its_lot_to_its_end(shop: Workshop) -> None:
    wax = shop.material("Wax")
    shop.receive(wax, "1 kg", "9.00")
    lot = shop.made_lot(shop.formula("Balm", [(wax, "100")]), "100")
    client, path = signed_in(shop), f"/complaints?lot={lot.id}"
    assert "None of this kind" in shown(client.get(path))
    new = f"/complaints/new?lot={lot.id}"
    typed = typed_in(client, new, "batch_code")
    assert typed["batch_code"] == lot.code
    told = {"received_on": "2025-06-16", "batch_code": lot.code, "customer": "stall 4"}
    told |= {"what_happened": "a rash on both hands", "harmed": "serious"}
    assert "future" in refused(client, new, **{**told, "received_on": "2199-01-01"})
    page = done(client, new, **told)
    # 15 business days, with Juneteenth and 4 July between; and 20 days of the calendar.
    assert "by 9 Jul 2025 its day has passed" in page
    assert "by 6 Jul 2025" in page
    assert "until 16 Jun 2031" in page
    assert "check your local authority" in page
    assert f"{lot.code} Balm" in page
    assert "report asked for by 6 Jul 2025" in shown(client.get(path))
    assert "rash on both hands" in client.get(f"{path}&as=csv").content.decode()
    one = sent(client, new, **told)["Location"]
    about = {"on": "2025-06-20", "text": "form sent"}
    assert "day from that of the receipt" in refused(
        client, one, kind="note", **{**about, "on": "2025-06-15"}
    )
    page = done(client, one, kind="reported_us", **about)
    assert "done 20 Jun 2025" in page
    closed = done(client, one, do="close", on="2025-07-01", text="the label was read wrongly")
    assert "closed 1 Jul 2025" in closed
    assert "Close it" not in closed
    again = done(client, one, kind="note", on="2025-07-02", text="she wrote again")
    assert "Close it" in again
    assert client.get(f"{one}?as=csv").content.decode().count("\n") == 4


def test_what_is_no_harm_has_no_clock_and_an_unknown_code_is_kept(shop: Workshop) -> None:
    client = signed_in(shop)
    told = {"received_on": "2025-06-16", "what_happened": "<i>lid</i> loose", "harmed": "no"}
    page = done(client, "/complaints/new", batch_code="illegible 8", **told)
    assert "No lot or batch of this code" in page
    assert "What the law may ask" not in page
    assert "lid</i> loose" in page
    assert "lid</i> loose" in shown(client.get("/complaints?state=open"))
    assert "lid</i> loose" not in shown(client.get("/complaints?harm=adverse"))


def test_who_may_only_read_is_offered_no_form(shop: Workshop) -> None:
    client = in_role(shop, Membership.Role.READ_ONLY)
    assert "Write one down" not in shown(client.get("/complaints"))
    assert client.get("/complaints/new").status_code == 403
    assert sent(client, "/complaints/new", what_happened="a rash").status_code == 403
    assert sent(client, f"/complaints/{uuid.uuid4()}", text="healed").status_code == 403
