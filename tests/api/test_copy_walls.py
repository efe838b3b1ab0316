"""What a copy of all that a maker has tells of others: no person, and of each table what stands
here."""

import uuid
from typing import Any

import pytest

from formulas.whole_copy import SHARED, columns_of, copied_models, persons_of
from tests.api.client import Client, Coop, open_coop
from tests.api.people import add_person, coop_id, join, maker_id, sql, token_of
from tests.api.population import ALLY, populate
from tests.api.test_settlement import coordinating, pays
from tests.api.test_whole_copy import Rows, unpacked
from tests.running import Running

NORTH, PAYER = "North Bench", "Payer Bench"
# The columns that are told of what is another's, or the whole co-op's; each is decided on. A person
# is told where it is one of the maker's own.
TOLD = {
    "ledger_clearing": "happened_at note at_least person_id recorded_at",
    "ledger_coop": "slug name currency time_zone created_at",
    "ledger_lot": "code material_id origin_id supplier_id supplier_lot arrived_on expires_on"
    " retest_on dates_note density density_at density_entered version created_at",
    "ledger_maker": "name mark created_at",
    "ledger_material": "maker_id name inci_name cas_number measured_by cost_class cost_formula"
    " density density_at density_entered stocked cost_per_kg cost_source shelf_life_days"
    " use_within_days mass_each declared_as function brings cautions min_percent max_percent"
    " certificate_category certificate_until version created_at",
    "ledger_materialmaximum": "maker_id material_id kind max_percent category",
    "ledger_materialpart": "maker_id material_id kind position inci_name percent",
    "ledger_offer": "maker_id supplier_id material_id article_code entered quantity density"
    " density_at density_entered density_of person_id created_at",
    "ledger_offerbreak": "maker_id offer_price_id position entered quantity price own_price",
    "ledger_offerprice": "maker_id offer_id valid_from price currency rate own_price least_packs"
    " lead_time_days shelf_life_days note person_id recorded_at",
    "ledger_orderround": "name note opened_at closes_at buyer_id budget without person_id",
    "ledger_roundbuyer": "round_id number buyer_id asked_at person_id",
    "ledger_roundbuyeranswer": "round_id asked agrees reason answered_at person_id",
    "ledger_roundclosing": "round_id closed_at person_id",
    "ledger_roundoutcome": "round_id reckoned_at makers least_excess largest_excess groups proven"
    " gap by_size",
    "ledger_share": "giver_id lot_id material_id entered quantity terms percent price"
    " accepts_itself note happened_at closes_at person_id opened_at closed_at closed_why",
    "ledger_storenaming": "keeper_id named_at person_id",
    "ledger_supplier": "name contact_name mail version created_at",
    "ledger_supplierterms": "maker_id supplier_id valid_from currency rate minimum own_minimum"
    " freight_kind freight own_freight free_from own_free_from lead_time_days note person_id"
    " recorded_at",
}


@pytest.fixture(scope="module")
def coop(server: Running) -> Coop:
    return open_coop(server, NORTH, ALLY, PAYER)


@pytest.fixture(scope="module")
def copies(coop: Coop) -> dict[str, dict[str, Rows]]:
    """Of makers that had to do with each other, by their names."""
    populate(coop[NORTH], "Nightjar", coop[ALLY])
    # Told by who was paid: it stands in the books of the payer as well.
    told = {"maker": str(maker_id(coop, PAYER)), "direction": "received", "amount": "7.10"}
    on = {"note": "cash", "happened_at": "2025-05-02T09:00:00Z"}
    coop[ALLY].post("payments", {**told, **on}).made()
    # Three debts, which the coordinator makes two: that stands in the books of all.
    pays(coop, NORTH, PAYER, "5.00").made()
    coordinating(coop).post("clearings", {}).made()
    return {name: unpacked(coop[name].get("export")) for name in (NORTH, ALLY, PAYER)}


def test_what_is_told_of_others_is_decided_column_by_column() -> None:
    models = {model._meta.db_table: model for model in copied_models()}
    told = {
        table: {"id", *columns_of(models[table])} - {"coop_id"} - others.untold
        for table, others in SHARED.items()
    }
    assert told == {table: {"id", *columns.split()} for table, columns in TOLD.items()}


def test_how_much_another_maker_does_is_not_told(copies: dict[str, dict[str, Rows]]) -> None:
    """Two copies would tell how many lots and batches another made in between."""
    numbers = ("lots_numbered", "batches_numbered", "orders_numbered")
    rows = {row["name"]: row for row in copies[ALLY]["maker.csv"]}
    assert set(rows) == {NORTH, ALLY, PAYER}
    assert not any(rows[name][column] for name in (NORTH, PAYER) for column in numbers)
    assert all(rows[ALLY][column] for column in numbers)
    (own,) = [row for row in copies[NORTH]["maker.csv"] if row["name"] == NORTH]
    assert int(own["lots_numbered"]) > 4
    foreign = [row for row in copies[ALLY]["lot.csv"] if row["origin_id"] != rows[ALLY]["id"]]
    assert not [row for row in foreign if row["made_in_id"]]


def test_no_person_of_another_maker_is_named(
    copies: dict[str, dict[str, Rows]], coop: Coop
) -> None:
    told = 0
    for maker, copied in copies.items():
        people = {int(row["id"]): row["username"] for row in copied["person.csv"]}
        assert people == members(coop, maker)
        for model in copied_models():
            rows = copied[f"{model._meta.db_table.partition('_')[2]}.csv"]
            for row in rows:
                named = {int(row[name]) for name in persons_of(model) if row[name]}
                assert named <= set(people), f"{maker}: {model._meta.db_table} {row}"
                told += len(named)
    assert told > 60
    (own,) = copies[NORTH]["person.csv"]
    assert set(own) == {"id", "username"}


def test_who_paid_out_of_ones_books_is_told_where_it_is_ones_own(
    copies: dict[str, dict[str, Rows]],
) -> None:
    """Told by the payee: its own person in its own books, and nobody in those of the payer."""
    for name, known in ((PAYER, False), (ALLY, True)):
        (movement,) = [row for row in copies[name]["movement.csv"] if row["amount"] == "7.100000"]
        side = "entry_id" if name == PAYER else "to_entry_id"
        (entry,) = [row for row in copies[name]["entry.csv"] if row["id"] == movement[side]]
        assert (entry["kind"], bool(entry["person_id"])) == ("payment", known)
        assert not movement["person_id"]
    transfers = {name: copies[name]["transfer.csv"] for name in (NORTH, ALLY)}
    assert [row["id"] for row in transfers[ALLY]] == [row["id"] for row in transfers[NORTH]]
    assert all(row["person_id"] for row in transfers[NORTH])
    assert not any(row["person_id"] for row in transfers[ALLY])


def test_who_left_is_told_with_what_they_did(coop: Coop, server: Running) -> None:
    """The record of who did it outlasts the role."""
    person = add_person(coop)
    join(coop, person, PAYER, "bench")
    bench = Client(server.port, token_of(coop, person))
    lot = bench.receive(bench.material(f"Salt {uuid.uuid4()}"), "1 kg", "2.00")
    whose = "person_id = (select id from auth_user where username = %s)"
    sql(server, f"delete from ledger_membership where {whose}", person)
    copied = unpacked(coop[PAYER].get("export"))
    (id,) = [row["id"] for row in copied["person.csv"] if row["username"] == person]
    (decision,) = [row for row in copied["decision.csv"] if row["lot_id"] == lot]
    assert decision["person_id"] == id
    assert id in {row["person_id"] for row in copied["entry.csv"]}


def members(coop: Coop, maker: str) -> dict[int, str]:
    """Who has a role in the maker."""
    rows: Any = sql(
        coop.server,
        "select u.id, u.username from ledger_membership m join auth_user u on u.id = m.person_id"
        " where m.coop_id = %s and m.maker_id = %s",
        coop_id(coop),
        maker_id(coop, maker),
    )
    return dict(rows)
