"""How stock of a class is costed, chosen over HTTP: it is kept, and whom to ask is said once."""

from tests.api.client import open_coop
from tests.running import Running


def test_a_class_is_costed_otherwise(server: Running) -> None:
    maker = open_coop(server, "Bench of its own costs")["Bench of its own costs"]
    oil = maker.material("Oil", cost_class="oils", cost_formula="lot")
    maker.receive(oil, "10 kg", "50.00")
    body = {"cost_class": "oils", "formula": "average", "reason": "as the books have it"}
    made = maker.post("cost-formulas", body).made()
    assert (made["cost_class"], made["formula"]) == ("oils", "average")
    assert [one["material"] for one in made["entries"]] == [oil]
    assert "changes profit and tax. Ask an accountant" in made["caution"]
    (listed,) = maker.get("cost-formulas").made()["results"]
    assert listed == {"cost_class": "oils", "formula": "average"}
