"""Random family trees of lots: a hold reaches what was made of a lot, and a recall closes on it.

Lots are made of lots, with loss, by-products, and rework of what was made or scrapped before; they
are filled, drawn off, moved to a neighbour, counted, sold and brought back, given away, spilt, lie
at a shop or come back from there; what left is taken back by a reversal; and of some a batch is
still at work.
"""

from collections import defaultdict
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from formulas.by_products import ByProductDraft, by_products_of
from formulas.filling import fill
from formulas.leftovers import Leftover
from formulas.models import FormulaVersion
from formulas.planning import Planned
from formulas.reworking import rework
from formulas.scrapping import Kept, scrap_batch
from formulas.undoing import undo
from formulas.weighing import weigh
from ledger.consigning import bring_back, consign
from ledger.count_closing import Explained, close_sheet
from ledger.counting import Chosen, Read, open_sheet, read_lots
from ledger.decanting import Drawn, decant, draws_of
from ledger.issuing import Taken, issue, sell, take_back
from ledger.lots import custody_of
from ledger.models import CountCause, Lot
from ledger.quantities import parse_quantity
from ledger.recalling import RecallList, recall_list
from ledger.stopping import Decided, decide_through
from ledger.tracing import trace
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, D, open_workshop

pytestmark = pytest.mark.usefixtures("database")
BOUGHT = 2
# Whole grams of each, much less than was bought.
POURS = st.dictionaries(st.integers(0, 6), st.integers(1, 300), min_size=1, max_size=3)
LOTS, GRAMS = st.integers(0, 8), st.integers(0, 40)
CAUSES = st.sampled_from(["spill", "evaporation", "shrink", "found"])
MAKINGS = st.lists(st.tuples(st.just("make"), POURS, GRAMS, GRAMS), min_size=2, max_size=4)
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("make"), POURS, GRAMS, GRAMS),
        st.tuples(st.just("scrap"), POURS, GRAMS),
        st.tuples(st.just("fill"), LOTS, st.integers(1, 9), GRAMS),
        st.tuples(st.just("draw_off"), LOTS, GRAMS),
        st.tuples(st.just("move"), LOTS, GRAMS),
        st.tuples(st.just("count"), LOTS, CAUSES),
        st.tuples(st.just("sell"), LOTS, st.booleans()),
        st.tuples(st.just("lose"), LOTS, st.sampled_from(["gift", "spill", "shop"])),
        st.tuples(st.just("rework"), LOTS, st.integers(1, 300), st.integers(1, 40)),
        st.tuples(st.just("fetch"), LOTS),
        st.tuples(st.just("undo")),
    ),
    max_size=6,
)
# One of everything, on what everything before came to.
ALL_OF_IT: list[Any] = [
    ("make", {0: 300, 1: 200}, 20, 40),
    ("scrap", {0: 200, 2: 20}, 40),
    ("make", {3: 200, 4: 30}, 5, 0),
    ("draw_off", 3, 40),
    ("fill", 6, 3, 4),
    ("fill", 7, 2, 7),
    ("move", 0, 25),
    ("count", 5, "shrink"),
    ("count", 1, "found"),
    ("sell", 9, True),
    ("lose", 2, "shop"),
    ("fetch", 2),
    ("lose", 2, "shop"),
    ("rework", 5, 100, 20),
    ("lose", 5, "gift"),
    ("undo",),
    ("lose", 5, "spill"),
    ("draw_off", 1, 0),
    ("move", 11, 10),
]


class Tree:
    """Two lots that were bought, and what was made of them, by number in order of making."""

    def __init__(self) -> None:
        self.shop = open_workshop()
        self.neighbour = open_workshop("Mill Bench", coop=self.shop.coop)
        self.oil = self.shop.material("Squalane")
        self.scrapings = self.shop.material("Scrapings")
        self.formula: FormulaVersion = self.shop.formula("Blend", [(self.oil, "100")])
        self.jar = self.shop.product(self.formula, "10 g")
        self.lots: list[Lot] = []
        self.left: list[int] = []
        self.filled: set[int] = set()
        self.parents: dict[int, set[int]] = defaultdict(set)
        self.at_work: set[int] = set()
        # What of which lot left, all of it by one entry that can be taken back.
        self.gone: list[tuple[Any, int, int]] = []
        self.at_shop: dict[int, int] = defaultdict(int)
        self.moved: dict[int, int] = defaultdict(int)
        self.shrunk: dict[int, int] = defaultdict(int)
        for _ in range(BOUGHT):
            self.add(self.shop.receive(self.oil, "9 kg", "90.00"), 9000, set())

    def add(self, lot: Lot, quantity: int, parents: set[int]) -> None:
        if parents:
            self.parents[len(self.lots)] = parents
        self.lots.append(lot)
        self.left.append(quantity)

    def grams(self, lot: int) -> int:
        """What is left of a lot that is weighed."""
        return 0 if lot >= len(self.lots) or lot in self.filled else self.left[lot]

    def start(
        self, pours: dict[int, int], size: str = "1 g"
    ) -> tuple[Planned, set[int], int] | None:
        """A batch with what there is of some lots weighed in as additions."""
        poured = {lot: grams for lot, grams in pours.items() if grams < self.grams(lot)}
        if not poured:
            return None
        batch = self.shop.plan(self.formula, size)
        for lot, grams in poured.items():
            self.shop.does(
                weigh,
                batch=batch.batch.id,
                lot=self.lots[lot].id,
                quantity=weight(grams),
                happened_at=MORNING,
            )
            self.left[lot] -= grams
        return batch, set(poured), sum(poured.values())

    def work(self, pours: dict[int, int]) -> None:
        if (started := self.start(pours)) is not None:
            self.at_work |= started[1]

    def make(self, pours: dict[int, int], lost: int, beside: int) -> None:
        if (started := self.start(pours)) is None:
            return
        batch, parents, whole = started
        beside = beside if beside < whole // 2 else 0
        output = max(1, whole - beside - lost)
        drafts = [ByProductDraft(self.scrapings.id, weight(beside), D(0))] if beside else []
        made = self.shop.finish(batch, f"{output} g", by_products=drafts)
        for row in self.shop.does(lambda _: by_products_of(made.making)):
            self.shop.decide(row.lot, "release")
            self.add(row.lot, beside, parents)
        self.add(made.lot, output, parents)

    def rework(self, lot: int, fresh: int, grams: int) -> None:
        """What was made here goes into a batch of what was bought, by an approval."""
        made_here = lot < len(self.lots) and self.lots[lot].made_in_id is not None
        if not made_here or grams > self.grams(lot):
            return
        if (started := self.start({0: fresh}, f"{fresh} g")) is None:
            return
        batch, parents, whole = started
        facts = {"approval": "the lead, by its look", "deviation": "none of it is in the method"}
        self.shop.does(
            rework,
            batch=batch.batch.id,
            lot=self.lots[lot].id,
            quantity=weight(grams),
            happened_at=MORNING,
            **facts,
        )
        self.left[lot] -= grams
        made = self.shop.finish(batch, f"{whole + grams} g")
        self.add(made.lot, whole + grams, {*parents, lot})

    def scrap(self, pours: dict[int, int], kept: int) -> None:
        if (started := self.start(pours)) is None:
            return
        batch, parents, whole = started
        kept = min(kept, whole)
        facts = {"reason": "separated", "happened_at": MORNING}
        rest = Kept(weight(kept)) if kept else None
        done = self.shop.does(scrap_batch, batch=batch.batch.id, kept=rest, **facts)
        if done.lot is not None:
            self.shop.decide(done.lot, "release")
            self.add(done.lot, kept, parents)

    def fill(self, lot: int, units: int, spoilt: int) -> None:
        used = 10 * units + spoilt
        if self.grams(lot) < used or self.lots[lot].material_id != self.formula.formula.material_id:
            return
        rejects = [Leftover(weight(spoilt), "the hose slipped")] if spoilt else []
        facts = {"rejects": rejects, "release_basis": "caps tight", "happened_at": MORNING}
        sizes = {"units": units, "used": weight(used)}
        filled = self.shop.does(fill, product=self.jar.id, lot=self.lots[lot].id, **sizes, **facts)
        self.left[lot] -= used
        self.filled.add(len(self.lots))
        self.add(filled.lot, units, {lot})

    def draw_off(self, lot: int, heel: int) -> None:
        """Into two; what was made is emptied, what was bought is not."""
        each = 30 if lot < BOUGHT else (self.grams(lot) - heel) // 2
        if each < 1 or self.grams(lot) < 2 * each:
            return
        emptied = lot >= BOUGHT
        done = self.shop.does(
            decant,
            lot=self.lots[lot].id,
            draws=[Drawn(net=weight(each))] * 2,
            happened_at=MORNING,
            emptied=emptied,
        )
        self.left[lot] = 0 if emptied else self.left[lot] - 2 * each
        for draw in self.shop.does(lambda _: draws_of(done.decanting)):
            self.add(draw.lot, each, {lot})

    def move(self, lot: int, grams: int) -> None:
        """Of what was bought, drawn off or not, to the neighbour: what a maker makes is its own."""
        if not 0 < grams < self.grams(lot) or self.lots[lot].material_id != self.oil.id:
            return
        to = {"maker": self.neighbour.actor.maker, "happened_at": MORNING}
        offer = self.shop.does(offer_transfer, lot=self.lots[lot].id, quantity=weight(grams), **to)
        self.neighbour.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
        self.left[lot] -= grams
        self.moved[lot] += grams

    def count(self, lot: int, cause: str) -> None:
        """Half of it is gone, or half as much is found beside."""
        if (book := self.grams(lot)) < 2:
            return
        counted = book + book // 2 if cause == "found" else book - book // 2
        id = self.lots[lot].id
        sheet = self.shop.does(open_sheet, chosen=Chosen(lots=[id]), now=MORNING)
        read = [Read(id, quantity=weight(counted))]
        for _ in range(2):
            at = {"happened_at": MORNING, "now": MORNING}
            self.shop.does(read_lots, sheet=sheet.id, readings=read, **at)
        why = Explained(id, "/causes/0", CountCause.Cause(cause), "looked twice")
        self.shop.does(close_sheet, sheet=sheet.id, causes=[why], now=MORNING)
        self.left[lot] = counted
        if cause == CountCause.Cause.SHRINK:
            self.shrunk[lot] += book - counted

    def taken(self, lot: int) -> tuple[list[Taken], int]:
        """All that is left; of what was bought a gram, so that a batch may be planned."""
        if lot >= len(self.lots) or not self.left[lot]:
            return [], 0
        amount = 1 if lot < BOUGHT else self.left[lot]
        self.left[lot] -= amount
        return [Taken(self.lots[lot].id, self.quantity(lot, amount))], amount

    def quantity(self, lot: int, amount: int) -> Any:
        return parse_quantity(f"{amount} {'each' if lot in self.filled else 'g'}")

    def sell(self, lot: int, brought_back: bool) -> None:
        lines, amount = self.taken(lot)
        if not lines:
            return
        to = {"customer": f"buyer {lot}", "happened_at": MORNING}
        sale = self.shop.does(sell, lines=lines, **to)
        if not brought_back:
            self.gone.append((sale.posted.entry_id, lot, amount))
        elif amount > 1:
            back = [Taken(self.lots[lot].id, self.quantity(lot, amount // 2))]
            facts = {"reason": "recalled", "happened_at": MORNING}
            self.shop.does(take_back, sale=sale.posted.entry_id, lines=back, **facts)
            self.left[lot] += amount // 2

    def lose(self, lot: int, fate: str) -> None:
        lines, amount = self.taken(lot)
        if not lines:
            return
        if fate == "shop":
            self.shop.does(consign, lines=lines, shop="quay shop", happened_at=MORNING)
            self.at_shop[lot] += amount
            return
        facts = {"purpose": fate, "reason": "stated", "happened_at": MORNING}
        lost = self.shop.does(issue, lines=lines, **facts)
        self.gone.append((lost.posted.entry_id, lot, amount))

    def fetch(self, lot: int) -> None:
        """All that lies at the shop comes back."""
        if not (amount := self.at_shop.pop(lot, 0)):
            return
        lines = [Taken(self.lots[lot].id, self.quantity(lot, amount))]
        facts = {"shop": "quay shop", "reason": "unsold", "happened_at": MORNING}
        self.shop.does(bring_back, lines=lines, **facts)
        self.left[lot] += amount

    def undo(self) -> None:
        """The last that was sold, given away or spilt was typed by mistake."""
        if not self.gone:
            return
        entry, lot, amount = self.gone.pop()
        self.shop.does(undo, entry=entry, reason="typed twice", happened_at=MORNING)
        self.left[lot] += amount

    def made_of(self, root: int) -> set[int]:
        """By the plain definition: whoever has a parent that was made of it, or is it."""
        reached = {root}
        for child in sorted(self.parents):
            if self.parents[child] & reached:
                reached.add(child)
        return reached - {root}


def weight(grams: int) -> Any:
    return parse_quantity(f"{grams} g")


@settings(max_examples=12, deadline=None)
@given(makings=MAKINGS, steps=STEPS, started=POURS, root=st.integers(0, 4))
@example(makings=[], steps=ALL_OF_IT, started={0: 10, 3: 5}, root=0)
@example(makings=[], steps=ALL_OF_IT, started={1: 10}, root=3)
def test_a_hold_and_a_recall_go_through_any_tree(
    makings: list[Any], steps: list[Any], started: dict[int, int], root: int
) -> None:
    tree = Tree()
    for verb, *facts in (*makings, *steps):
        getattr(tree, verb)(*facts)
    tree.work(started)
    root = min(root, len(tree.lots) - 1)
    recalled = tree.shop.does(recall_list, lot=tree.lots[root].id)
    assert_the_recall_closes(tree, root, recalled)
    assert_the_trace_says_so(tree, root, recalled)
    if tree.moved[root]:
        there = tree.neighbour.does(recall_list, lot=tree.lots[root].id)
        assert there.received == there.accounted == tree.moved[root]
    held = tree.shop.does(
        decide_through, lot=tree.lots[root].id, decision="hold", basis="smells of paint"
    )
    assert_the_hold_reaches_what_is_there(tree, root, held)
    assert tree.shop.disagreements() == []


def test_one_of_everything_makes_a_lot_by_each_verb() -> None:
    """What the example above stands for: and none of its steps is passed over."""
    tree = Tree()
    for count, (verb, *facts) in enumerate(ALL_OF_IT):
        before = list(tree.left)
        getattr(tree, verb)(*facts)
        assert tree.left != before, (count, verb)
    assert tree.shop.disagreements() == []


def assert_the_recall_closes(tree: Tree, root: int, recalled: RecallList) -> None:
    """Every gram of the lot is found, in it or in what was made of it, and nothing else is."""
    of_it = {tree.lots[lot].id for lot in {root, *tree.made_of(root)}}
    assert {listed.id for listed in recalled.lots} == of_it
    assert {listed.id: listed.unexplained for listed in recalled.lots} == {
        tree.lots[lot].id: tree.shrunk[lot] for lot in {root, *tree.made_of(root)}
    }
    places = [place for listed in recalled.lots for place in listed.places]
    gone = sum((place.of_recalled for place in places if not place.explained), D(0))
    assert recalled.accounted + gone == recalled.received
    assert {listed.id: in_store(listed) for listed in recalled.lots} == {
        tree.lots[lot].id: tree.left[lot] for lot in {root, *tree.made_of(root)}
    }


def assert_the_trace_says_so(tree: Tree, root: int, recalled: RecallList) -> None:
    """Of the lot itself, a trace tells what the recall list does."""
    listed = recalled.lot
    balance = tree.shop.does(trace, lot=tree.lots[root].id, direction="forward").balance
    assert (balance.received, balance.found) == (listed.total, listed.found)
    assert balance.difference == listed.unexplained == sum(much for _, much in balance.gone)
    assert balance.accounted == sum(much for _, much in balance.places)


def in_store(listed: Any) -> Any:
    return sum(place.quantity for place in listed.places if place.kind == "store")


def assert_the_hold_reaches_what_is_there(tree: Tree, root: int, held: Decided) -> None:
    """What was made of it and is in store or in a batch is held; all else stays released."""
    made = tree.made_of(root)
    assert {one.id for one in held.affected} == {tree.lots[lot].id for lot in made}
    there = {lot for lot in made if tree.left[lot] or lot in tree.at_work}
    stopped = {root, *there}
    statuses = [str(tree.shop.does(custody_of, lot=lot).status) for lot in tree.lots]
    assert statuses == ["hold" if lot in stopped else "released" for lot in range(len(tree.lots))]
    assert {one.id: D(one.on_hand) for one in held.affected} == {
        tree.lots[lot].id: tree.left[lot] for lot in made
    }
