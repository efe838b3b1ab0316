"""How a class of material is costed, looked at before it is changed, and what was changed when."""

from typing import Any

import pytest

from ledger.models import Pool
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in
from tests.pages.figures import opened, workings_of


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def formulas_of(shop: Workshop) -> set[str]:
    return shop.does(lambda actor: set(Pool.objects.values_list("cost_formula", flat=True)))


def test_a_class_is_costed_otherwise_from_now_on(shop: Workshop) -> None:
    oil = shop.material("Oil", cost_class="oils", cost_formula="lot")
    for price in ("50.00", "70.00"):
        shop.receive(oil, "10 kg", price)
    shop.material("Wax", cost_class="waxes")
    client, path = signed_in(shop), "/books/cost-formulas"
    page = shown(client.get(path)).replace("\xa0", " ")
    assert "oils Materials: 1 each lot by its own cost as each material says" in page
    assert "waxes Materials: 1 by the average of what is there" in page
    assert "Nothing yet." in page
    # The layers of lots serve first in, first out as they are; the average is of all.
    looked = f"{path}?cost_class=oils&formula="
    page = shown(client.get(f"{looked}fifo")).replace("\xa0", " ")
    assert "120.00 USD 20 kg by its lot → 5.0000 USD" in page
    page = shown(client.get(f"{looked}average")).replace("\xa0", " ")
    assert "120.00 USD 20 kg by its lot → 6.0000 USD" in page
    assert "Ask an accountant" in page
    assert formulas_of(shop) == {"lot"}, "looking changes nothing"
    kept = client.get(f"{looked}average&as=csv&table=changes").content.decode()
    assert "Oil,each lot by its own cost,20000,g,120,,6" in kept
    chosen = {"cost_class": "oils", "formula": "fifo"}
    assert "Fill this in" in refused(client, path, **chosen)
    page = done(client, path, **chosen, reason="one way for all")
    assert formulas_of(shop) == {"fifo"}
    assert "each lot by its own cost → what came first goes first" in page
    assert "one way for all" in page
    assert "as was chosen" in page
    # What is first in costs 5.00 until all is one; what is in store keeps its worth.
    page = shown(client.get(f"{looked}average")).replace("\xa0", " ")
    assert "120.00 USD 20 kg 5.0000 USD → 6.0000 USD" in page
    looking = client.get(f"{looked}average").content.decode()
    assert [(one.name, one.exact) for one in workings_of(looking)] == [
        ("Oil, now", D(5)),
        ("Oil, then", D(6)),
    ]
    worth = opened(client, f"/materials/{oil.id}/worth")
    assert worth.exact == sum(one.exact for one in worth.parts) == 120
    done(client, path, cost_class="oils", formula="average", reason="a year is over")
    page = shown(client.get(f"{looked}lot")).replace("\xa0", " ")
    assert "120.00 USD 20 kg 6.0000 USD → 6.0000 USD" in page
    assert "Nothing that is there changes" in shown(client.get(f"{looked}average"))
    assert client.get(f"{path}?cost_class=none&formula=fifo").status_code == 422
    assert (
        "/books/cost-formulas?cost_class=oils"
        in client.get(f"/materials/{oil.id}").content.decode()
    )
    assert shop.disagreements() == []
