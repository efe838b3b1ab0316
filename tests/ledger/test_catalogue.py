"""The catalogue that makers share: what is known of a material, and who may change it."""

from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from django.db import IntegrityError

from ledger.access import acting_as, material_for, materials_visible_to, supplier_for
from ledger.catalogue import (
    MaterialFacts,
    add_material,
    add_supplier,
    change_material,
    change_supplier,
    is_cas_number,
)
from ledger.errors import Forbidden, Invalid, NotFound, Stale
from ledger.models import Material, Supplier
from ledger.quantities import parse_density, parse_quantity
from tests.ledger.bench import Bench, open_bench

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def add(bench: Bench, **facts: Any) -> Material:
    with acting_as(bench.actor):
        return add_material(
            bench.actor, MaterialFacts(**{"name": "Glycerin", "measured_by": "mass", **facts})
        )


def change(bench: Bench, material: UUID, version: int | None = None, **facts: Any) -> Material:
    with acting_as(bench.actor):
        return change_material(bench.actor, material=material, version=version, facts=facts)


def read(bench: Bench, material: UUID) -> Material:
    with acting_as(bench.actor):
        return material_for(bench.actor, material)


def test_all_that_is_known_is_kept() -> None:
    bench = open_bench()
    added = add(
        bench,
        inci_name="GLYCERIN",
        cas_number="56-81-5",
        cost_class="humectants",
        cost_formula="fifo",
        density=parse_density("1.26 g/mL", "20 degC"),
        shelf_life_days=730,
    )
    kept = read(bench, added.id)
    assert (kept.inci_name, kept.cas_number, kept.cost_class) == (
        "GLYCERIN",
        "56-81-5",
        "humectants",
    )
    assert (kept.cost_formula, kept.shelf_life_days) == ("fifo", 730)
    assert (kept.density, kept.density_at, kept.density_entered) == (D("1.26"), 20, "1.26 g/mL")
    assert (kept.stocked, kept.version, kept.maker_id) == (True, 1, None)


def test_every_maker_of_the_co_op_sees_it_and_no_other_co_op() -> None:
    bench = open_bench()
    neighbour, stranger = open_bench("Mill Bench", coop=bench.coop), open_bench()
    added = add(bench)
    assert read(neighbour, added.id).name == "Glycerin"
    with pytest.raises(NotFound):
        read(stranger, added.id)
    with pytest.raises(NotFound):
        change(stranger, added.id, name="mine")
    assert change(neighbour, added.id, name="Glycerin 99.7 %").version == 2


def test_a_change_leaves_the_rest_and_is_counted() -> None:
    bench = open_bench()
    added = add(bench, density=parse_density("1.26 g/mL"), cas_number="56-81-5")
    change(bench, added.id, 1, name="Vegetable glycerin")
    kept = read(bench, added.id)
    assert (kept.name, kept.cas_number, kept.density, kept.version) == (
        "Vegetable glycerin",
        "56-81-5",
        D("1.26"),
        2,
    )
    change(bench, added.id, 2, density=None)
    kept = read(bench, added.id)
    assert (kept.density, kept.density_at, kept.density_entered) == (None, None, "")


def test_a_change_of_what_somebody_else_changed_is_refused() -> None:
    bench = open_bench()
    added = add(bench)
    change(bench, added.id, 1, name="first")
    with pytest.raises(Stale):
        change(bench, added.id, 1, name="second")
    assert read(bench, added.id).name == "first"
    change(bench, added.id, None, name="third")
    assert read(bench, added.id).version == 3


def test_how_it_is_measured_and_whether_it_is_stocked_is_fixed() -> None:
    bench = open_bench()
    added = add(bench)
    for name, value in (("measured_by", "count"), ("stocked", False)):
        facts: dict[str, Any] = {name: value}
        with pytest.raises(Invalid) as refused:
            change(bench, added.id, **facts)
        assert refused.value.pointer == f"/{name}"
    assert change(bench, added.id, measured_by="mass", stocked=True).version == 2


@pytest.mark.parametrize(
    ("facts", "pointer"),
    [
        ({"measured_by": "count", "density": parse_density("1 g/mL")}, "/density"),
        ({"mass_each": parse_quantity("32 g")}, "/mass_each"),
        ({"measured_by": "count", "mass_each": parse_quantity("32 mL")}, "/mass_each"),
        ({"cost_per_kg": D("0.01")}, "/cost_per_kg"),
        ({"function": "polish"}, "/function"),
    ],
)
def test_facts_that_contradict_are_refused(facts: dict[str, Any], pointer: str) -> None:
    bench = open_bench()
    with pytest.raises(Invalid) as refused:
        add(bench, **facts)
    assert refused.value.pointer == pointer
    with acting_as(bench.actor):
        assert not Material.objects.exists()


def test_postgresql_knows_the_functions_as_well() -> None:
    bench = open_bench()
    added = add(bench)
    with pytest.raises(IntegrityError, match="material_function_known"), acting_as(bench.actor):
        Material.objects.filter(id=added.id).update(function="polish")


def test_water_has_a_cost_and_no_stock_and_a_bottle_has_a_mass() -> None:
    bench = open_bench()
    water = add(
        bench, name="Aqua", stocked=False, cost_per_kg=D("0.004"), cost_source="bill of May"
    )
    bottle = add(bench, name="bottle", measured_by="count", mass_each=parse_quantity("1 oz wt"))
    assert (read(bench, water.id).cost_per_kg, read(bench, water.id).stocked) == (D("0.004"), False)
    assert read(bench, bottle.id).mass_each == D("28.349523")
    assert change(bench, bottle.id, name="bottle 250 mL").mass_each == D("28.349523")


def test_suppliers_are_renamed_once_at_a_time() -> None:
    bench = open_bench()
    stranger = open_bench()
    with acting_as(bench.actor):
        supplier = add_supplier(bench.actor, name="a supplier")
        change_supplier(
            bench.actor, supplier=supplier.id, version=1, facts={"name": "another name"}
        )
        assert supplier_for(bench.actor, supplier.id).name == "another name"
    with pytest.raises(Stale), acting_as(bench.actor):
        change_supplier(bench.actor, supplier=supplier.id, version=1, facts={"name": "late"})
    with pytest.raises(NotFound), acting_as(stranger.actor):
        change_supplier(
            stranger.actor, supplier=supplier.id, version=None, facts={"name": "theirs"}
        )
    with acting_as(bench.actor):
        assert Supplier.objects.get().name == "another name"


def test_the_coordinator_keeps_the_catalogue_and_a_reader_does_not() -> None:
    bench = open_bench()
    material = add(bench)
    coordinator, reader = bench.as_role("coordinator"), bench.as_role("read-only")
    with acting_as(bench.actor):
        change_material(coordinator, material=material.id, version=1, facts={"name": "tidy"})
        supplier = add_supplier(coordinator, name="a supplier")
        facts = MaterialFacts(name="Aqua", measured_by="mass")
        for refused in (
            lambda: add_material(reader, facts),
            lambda: change_material(reader, material=material.id, version=None, facts={}),
            lambda: add_supplier(reader, name="x"),
            lambda: change_supplier(
                reader, supplier=supplier.id, version=None, facts={"name": "x"}
            ),
        ):
            with pytest.raises(Forbidden):
                refused()
        assert materials_visible_to(reader).count() == 1


@pytest.mark.parametrize(
    ("role", "may"), [("owner", True), ("coordinator", True), ("bench", False), ("books", False)]
)
def test_a_density_that_all_weigh_by_is_changed_by_few(role: str, may: bool) -> None:
    bench = open_bench()
    material = add(bench, density=parse_density("1.26 g/mL"))
    actor, facts = bench.as_role(role), {"density": parse_density("1.25 g/mL")}
    with acting_as(bench.actor):
        if may:
            change_material(actor, material=material.id, version=1, facts=facts)
            return
        with pytest.raises(Forbidden, match="density of a material that all share"):
            change_material(actor, material=material.id, version=1, facts=facts)


def test_the_class_of_a_material_is_fixed() -> None:
    bench = open_bench()
    material = add(bench, cost_class="oil")
    with pytest.raises(Invalid) as refused:
        change(bench, material.id, 1, cost_class="wax")
    assert refused.value.pointer == "/cost_class"


@pytest.mark.parametrize(
    ("text", "is_one"),
    [
        # CAS's own worked example, from memory: 7·1 + 0·2 + 7·3 + 0·4 + 1·5 = 33, which ends in 3.
        ("107-07-3", True),
        ("7732-18-5", True),
        ("58-08-2", True),
        ("58-08-3", False),
        ("85-08-2", False),
        ("58-8-2", False),
        ("058-08-2", False),
        ("58082", False),
        ("abc", False),
    ],
)
def test_a_cas_number_proves_itself(text: str, is_one: bool) -> None:
    assert is_cas_number(text) is is_one
