"""Cost formulas as the database follows them: the same figures as the pure rules and the books."""

import json
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.access import acting_as
from ledger.cost_formulas import choose_cost_formula
from ledger.costing import CostFormula, Draw, Layer, put, round_stored, take
from ledger.errors import Forbidden, Invalid
from ledger.models import CostPolicy, Entry, Lot, Material, Pool
from tests.ledger.bench import now, open_bench
from tests.ledger.books import Books
from tests.published.rows import Row, published_rows

pytestmark = pytest.mark.usefixtures("database")
D = Decimal
FORMULAS = ["average", "fifo", "lot"]


@pytest.mark.parametrize(
    ("formula", "cost", "left"),
    [("fifo", "143.20", "108.80"), ("average", "150.00", "102.00"), ("lot", "160.00", "92.00")],
)
def test_one_issue_costs_three_ways(formula: str, cost: str, left: str) -> None:
    """P 20 kg at 5.00, 8 kg out, Q 30 kg at 6.40, then 25 kg poured from Q; together 292.00."""
    books = Books(formula)
    p = books.lot("20000", "100.00")
    assert books.take(p, "8000").values == [D(40)]
    q = books.lot("30000", "192.00")
    assert books.take(q, "25000").values == [D(cost)]
    assert books.worth() == (17000, D(left))
    # Which lot was poured stays known whatever the formula says.
    assert (books.held(p)[0], books.held(q)[0]) == (12000, 5000)
    assert D(40) + D(cost) + D(left) == D(292)
    assert books.disagreements() == []


def test_a_value_just_below_a_tie_is_not_tipped_over_it() -> None:
    """The exact share ends in …4.9999999999750 micro-units; cut to fewer digits it reads …5."""
    books = Books("lot")
    quantity, part = D("19999.999999"), D("10000.000001")
    whole = 19999999999
    value = D(pow(10000000001, -1, whole) * ((whole - 1) // 2) % whole).scaleb(-6)
    exact = Fraction(value) * Fraction(part) / Fraction(quantity)
    assert Fraction(1, 2) - exact * 10**6 % 1 < Fraction(1, 10**10)
    lot = books.lot(str(quantity), str(value))
    left = round_stored(Fraction(value) - exact)
    assert books.take(lot, str(part)).values == [round_stored(exact)]
    assert books.worth() == (quantity - part, left)


# ---- The same as the pure rules ------------------------------------------------------------------

micro = st.integers(1, 40_000_000).map(lambda n: D(n).scaleb(-6))
receipts = st.tuples(st.just("in"), st.integers(0, 3), micro, st.integers(0, 10**9))
draws = st.tuples(
    st.just("out"),
    st.lists(st.tuples(st.integers(0, 3), st.integers(1, 100)), min_size=1, max_size=4),
)
stories = st.lists(st.one_of(receipts, draws), min_size=2, max_size=14)


def put_in_pure(layers: Any, lot: str, quantity: D, value: D, formula: CostFormula) -> Any:
    """A lot that is received again joins its own layer, in the place of its first receipt."""
    if formula is CostFormula.AVERAGE:
        return put(layers, Layer(lot, quantity, value), formula)
    found = {layer.lot: layer for layer in layers}
    if lot not in found:
        return put(layers, Layer(lot, quantity, value), formula)
    return tuple(
        Layer(lot, layer.quantity + quantity, layer.value + value) if layer.lot == lot else layer
        for layer in layers
    )


class Both:
    """One material, kept by the pure functions and by the database."""

    def __init__(self, books: Books, formula: str) -> None:
        self.books, self.formula = books, CostFormula(formula)
        with acting_as(books.actor):
            self.material = Material.objects.create(
                coop=books.bench.coop, name="Betaine", measured_by="mass", cost_formula=formula
            )
        self.lots: dict[int, Lot] = {}
        self.left: dict[int, D] = {}
        # Empty layers keep their place in the database, so they keep it here.
        self.order: list[str] = []
        self.layers: tuple[Layer, ...] = ()

    def receive(self, n: int, quantity: D, micros: int) -> None:
        lot = self.lots.get(n) or self.books.lot(material=self.material)
        self.lots[n] = lot
        value = D(micros).scaleb(-6)
        self.books.put(lot, str(quantity), str(value))
        self.left[n] = self.left.get(n, D(0)) + quantity
        key = str(lot.id)
        if key not in self.order:
            self.order.append(key)
        layers = put_in_pure(self.layers, key, quantity, value, self.formula)
        if self.formula is not CostFormula.AVERAGE:
            layers = tuple(sorted(layers, key=lambda layer: self.order.index(layer.lot or "")))
        self.layers = layers

    def draw(self, wanted: list[tuple[int, int]]) -> None:
        lines = []
        for n, percent in wanted:
            quantity = (self.left.get(n, D(0)) * percent / 100).quantize(D("0.000001"))
            quantity = min(quantity, self.left.get(n, D(0)))
            if quantity > 0:
                lines.append((self.lots[n], quantity))
                self.left[n] -= quantity
        if not lines:
            return
        posted = self.books.post(
            *(self.books.move("store", "loss", lot, str(quantity)) for lot, quantity in lines)
        )
        taken = take(self.layers, [Draw(str(lot.id), q) for lot, q in lines], self.formula)
        assert posted.values == [taken.value_of(place) for place in range(len(lines))]
        self.layers = taken.layers

    def check(self) -> None:
        kept = [(lot and str(lot), q, v) for lot, q, v in self.books.layers(self.material)]
        pure = [(layer.lot, layer.quantity, layer.value) for layer in self.layers]
        if self.formula is CostFormula.AVERAGE:
            kept = [(None, q, v) for _, q, v in kept]
            pure = [(None, q, v) for _, q, v in pure]
        assert kept == pure


@pytest.fixture(scope="module")
def shared(database: object) -> Books:
    """One maker for all random stories: each brings a material of its own."""
    return Books()


@pytest.mark.parametrize("formula", FORMULAS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(story=stories)
def test_the_database_costs_as_the_pure_rules_do(
    shared: Books, formula: str, story: list[tuple[Any, ...]]
) -> None:
    both = Both(shared, formula)
    for what, *facts in story:
        if what == "in":
            both.receive(*facts)
        else:
            both.draw(*facts)
        both.check()


def test_the_random_stories_left_the_books_in_order(shared: Books) -> None:
    assert shared.disagreements() == []


# ---- Published stock cards -----------------------------------------------------------------------


def work_through(inputs: dict[str, Any], formula: str) -> tuple[list[D], D, D]:
    """What each sale cost, its revenue, and what is left, posted in pieces of one material."""
    books = Books(formula)
    picks = {str(pick["sale"]): pick["lots"] for pick in inputs.get("picks", [])}
    lots: list[Lot] = []
    sales: list[D] = []
    revenue = D(0)
    for move in inputs["moves"]:
        units = D(move["units"])
        if move["type"] == "in":
            lots.append(books.lot(str(units), str(units * D(str(move["unit_cost"])))))
            continue
        wanted = picks.get(str(len(sales) + 1)) or pour(books, lots, units)
        posted = books.post(
            *(books.move("store", "sales", lots[int(n) - 1], str(q)) for n, q in wanted.items()),
            kind="sale",
        )
        sales.append(sum(posted.values, D(0)))
        revenue += units * D(str(move["unit_price"]))
    assert books.disagreements() == []
    return sales, revenue, books.worth()[1]


def pour(books: Books, lots: list[Lot], units: D) -> dict[str, D]:
    """From the newest lot backwards: the formulas must not care, and mostly disagree with it."""
    poured: dict[str, D] = {}
    for number in range(len(lots), 0, -1):
        part = min(units, books.held(lots[number - 1])[0])
        if part > 0:
            poured[str(number)] = part
            units -= part
    return poured


PERPETUAL = {"perpetual FIFO": "fifo", "perpetual moving average": "average", "specific": "lot"}


def found(row: Row) -> list[D] | None:
    """The figures that the row publishes, from the ledger; None for what is not kept there."""
    formula = next(f for start, f in PERPETUAL.items() if row.quantity.startswith(start))
    sales, revenue, closing = work_through(row.inputs, formula)
    sold = sum(sales, D(0))
    by_end = {
        "cost of goods sold": [sold],
        "cost of goods sold, full precision": [sold],
        "ending inventory value": [closing],
        "ending inventory, full precision": [closing],
        "gross margin": [revenue - sold],
        "cost of each sale": sales,
        "COGS and ending inventory": [sold, closing],
        "COGS + ending inventory = goods available": [sold + closing],
    }
    return by_end.get(row.quantity.split(": ", 1)[1])


@pytest.mark.parametrize(
    "row",
    [
        param
        for param in published_rows("costing.csv", *PERPETUAL)
        if "average after each receipt" not in param.values[0].quantity
    ],
)
def test_published_stock_cards(row: Row) -> None:
    expected = json.loads(row.expected, parse_float=D, parse_int=D)
    wanted = [D(n) for n in (expected if isinstance(expected, list) else [expected])]
    figures = found(row)
    assert figures is not None
    assert len(figures) == len(wanted)
    # The ledger keeps six decimals, so a figure "in full precision" ends there.
    allowed = D("0.000001") if row.tolerance == "exact" else D(row.tolerance)
    for figure, want in zip(figures, wanted, strict=True):
        assert abs(figure - want) <= allowed


# ---- Choosing another formula --------------------------------------------------------------------


@pytest.mark.parametrize("after", FORMULAS)
@pytest.mark.parametrize("before", FORMULAS)
def test_a_change_keeps_quantity_and_value(before: str, after: str) -> None:
    books = Books(before)
    books.lot("3", "10")
    second = books.lot("7", "31.000001")
    books.take(second, "4.1")
    kept = books.worth()
    books.choose(after)
    assert books.worth() == kept
    lots = {lot for lot, *_ in books.layers()}
    assert (lots == {None}) == (after == "average")
    books.take(second, "2.9")
    assert books.worth()[0] == D(3)
    assert books.disagreements() == []


@pytest.mark.parametrize("middle", FORMULAS)
def test_going_there_and_back_keeps_quantity_and_value(middle: str) -> None:
    books = Books("fifo")
    lots = [books.lot(f"{n}.000001", "9.999999") for n in range(1, 6)]
    kept = books.worth()
    for formula in (middle, "lot", "average", middle, "fifo", "lot", "fifo"):
        books.choose(formula)
        assert books.worth() == kept
    for lot in lots:
        books.take(lot, str(books.held(lot)[0]))
    assert books.worth() == (0, 0)
    assert books.disagreements() == []


def test_a_change_works_forward_only() -> None:
    """42 kg worth 252.00; under lot the two lots then cost 6.00 each, and later goods their own."""
    books = Books("average")
    p = books.lot("12000", "60.00")
    q = books.lot("30000", "192.00")
    before = books.take(q, "7000").values
    books.choose("lot")
    r = books.lot("1000", "9.00")
    assert before == [D(42)]
    assert books.take(p, "1000").values == [D(6)]
    assert books.take(q, "1000").values == [D(6)]
    assert books.take(r, "1000").values == [D(9)]


def test_a_class_has_one_formula() -> None:
    """IAS 2.25: all materials of the class follow, those of another class and maker do not."""
    books = Books("average")
    neighbour = Books("average", bench=open_bench("Mill Bench", coop=books.bench.coop))
    formula = "fifo"
    twin = books.bench.material(cost_formula="lot")
    other = books.bench.material(cost_class="packaging", cost_formula="average")
    for material in (books.material, twin, other):
        books.lot("1", "1", material=material)
    neighbour.lot("1", "1", material=books.material)
    with acting_as(books.actor):
        chosen = choose_cost_formula(
            books.actor,
            cost_class="material",
            formula=formula,
            reason="as the bookkeeper says",
            happened_at=now(),
        )
        entries = {e.id: e for e in Entry.objects.filter(kind="cost_formula")}
        formulas = dict(Pool.objects.values_list("material_id", "cost_formula"))
    assert formulas == {books.material.id: formula, twin.id: formula, other.id: "average"}
    assert set(chosen.entries) == {books.material.id, twin.id}
    assert set(chosen.entries.values()) == set(entries)
    assert entries[chosen.entries[twin.id]].details == {
        "material": str(twin.id),
        "before": "lot",
        "after": formula,
    }
    assert {entry.reason for entry in entries.values()} == {"as the bookkeeper says"}
    # What comes later follows the choice, whatever its own default says.
    late = books.bench.material(cost_formula="lot")
    books.lot("1", "1", material=late)
    with acting_as(books.actor):
        assert Pool.objects.get(material=late).cost_formula == formula
    with acting_as(neighbour.actor):
        assert Pool.objects.get(material=books.material).cost_formula == "average"
        assert not CostPolicy.objects.exists()


def test_choosing_the_same_again_changes_nothing() -> None:
    books = Books("average")
    books.lot("1", "1")
    books.choose("fifo")
    books.choose("fifo")
    with acting_as(books.actor):
        assert Entry.objects.filter(kind="cost_formula").count() == 1
        assert CostPolicy.objects.get().cost_formula == "fifo"


@pytest.mark.parametrize(
    ("facts", "pointer"),
    [
        ({"cost_class": " "}, "/cost_class"),
        ({"cost_class": "x" * 61}, "/cost_class"),
        ({"formula": "lifo"}, "/formula"),
        ({"reason": " "}, "/reason"),
    ],
)
def test_a_choice_that_says_too_little_is_refused(facts: dict[str, str], pointer: str) -> None:
    books = Books()
    given = {"cost_class": "material", "formula": "fifo", "reason": "so agreed", **facts}
    with pytest.raises(Invalid) as refused, acting_as(books.actor):
        choose_cost_formula(books.actor, happened_at=now(), **given)
    assert refused.value.pointer == pointer


@pytest.mark.parametrize("role", ["bench", "read-only", "coordinator"])
def test_the_formula_is_chosen_by_those_who_keep_the_books(role: str) -> None:
    books = Books()
    with pytest.raises(Forbidden), acting_as(books.actor):
        choose_cost_formula(
            books.bench.as_role(role),
            cost_class="material",
            formula="fifo",
            reason="so agreed",
            happened_at=now(),
        )
