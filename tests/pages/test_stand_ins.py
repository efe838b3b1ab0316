"""What may stand in for an ingredient, and how much rework a formula takes, on its page."""

from typing import Any

from formulas.composition import ToEffect
from ledger.access import acting_as
from ledger.models import Material
from tests.factories import D, Lines, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in, typed_in


def test_what_may_stand_in_is_written_and_all_else_stays(database: Any, redis_server: Any) -> None:
    shop = open_workshop()
    shop.material("Thin grade")
    water, paste, scent = (shop.material(name) for name in ("Water", "Paste", "Lavender oil"))
    most = ToEffect(typical_percent=D(1), max_percent=D(2))
    lines: Lines = [(water, "balance"), (paste, "15"), (scent, most)]
    version = shop.formula("Wash", lines, loss="3", density="1.02 g/mL")
    client, formula = signed_in(shop), f"/formulas/{version.formula_id}"
    path = f"{formula}/stand-ins"
    before = client.get(f"{formula}?as=csv").content
    assert path in client.get(formula).content.decode()
    assert "nothing stands in" in shown(client.get(path))
    of_paste = f"{path}?line=1"
    typed = {"version": "1", "active_percent": "70", "stand_ins": "2"}
    one = {"stand_ins-0-name": "thin GRADE", "stand_ins-0-active_percent": "28"}
    nowhere = {**one, "stand_ins-0-name": "nothing of ours"}
    assert "No material that is bought" in refused(client, of_paste, **typed, **nowhere)
    made = {**one, "stand_ins-0-name": "Wash"}
    assert "No material that is bought" in refused(client, of_paste, **typed, **made)
    half = {**one, "stand_ins-0-active_percent": ""}
    wrong = refused(client, of_paste, **typed, **half)
    assert "between two figures" in wrong
    assert "active_percent" not in wrong
    assert "above 0" in refused(client, of_paste, **{**typed, "active_percent": "0"}, **one)
    twice = {"stand_ins-1-name": "Thin grade", "stand_ins-1-active_percent": "28"}
    assert "stands on this line already" in refused(client, of_paste, **typed, **one, **twice)
    page = done(client, of_paste, **typed, **one)
    assert "Thin grade (28 % active)" in page
    assert client.get(f"{formula}?as=csv").content == before
    assert typed_in(client, of_paste, "stand_ins")["stand_ins-0-name"] == "Thin grade"
    assert "28" in client.get(f"{path}?as=csv").content.decode().splitlines()[1]
    assert refused(client, of_paste, **typed, **one)
    more = sent(client, of_paste, do="more", **{**typed, **one, "version": "2"})
    assert "In its place 3" in shown(more)
    rework = {"do": "rework", "version": "2"}
    assert "0 to 100" in refused(client, path, **rework, percent="101")
    assert "0 to 100" in refused(client, path, **rework, percent="1.00000001")
    done(client, path, **rework, percent="5")
    assert typed_in(client, path, "percent")["percent"] == "5"
    assert "Thin grade" in shown(client.get(path))
    planned = shop.plan(version, "1 kg")
    assert "At most 5 %" in shown(client.get(f"/batches/{planned.batch.id}/rework"))
    with acting_as(shop.actor):
        assert Material.objects.get(id=version.formula.material_id).density_entered == "1.02 g/mL"
