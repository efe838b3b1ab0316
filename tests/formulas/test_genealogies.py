"""Random family trees of lots: a hold reaches what was made of a lot, and a recall closes on it.

Lots are made of lots, with loss, rework of what was made before, and two makings of which one is
still at work; of each some is sold, given away, spilt, or lies at a shop.
"""

from collections import defaultdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulas.models import FormulaVersion
from formulas.weighing import weigh
from ledger.consigning import consign
from ledger.issuing import Taken, issue, sell
from ledger.lots import custody_of
from ledger.models import Lot
from ledger.quantities import parse_quantity
from ledger.recalling import RecallList, recall_list
from ledger.stopping import Decided, decide_through
from tests.factories import MORNING, D, Workshop, open_workshop

pytestmark = pytest.mark.usefixtures("database")
# Whole grams of each, much less than was bought.
POURS = st.dictionaries(st.integers(0, 5), st.integers(1, 300), min_size=1, max_size=3)
FATES = st.lists(
    st.tuples(st.integers(0, 8), st.sampled_from(["sold", "gift", "spill", "shop"])), max_size=5
)


class Tree:
    """Two lots that were bought, and what was made of them, by number in order of making."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop
        oil = shop.material("Squalane")
        self.formula: FormulaVersion = shop.formula("Blend", [(oil, "100")])
        self.lots: list[Lot] = [shop.receive(oil, "9 kg", "90.00") for _ in range(2)]
        self.left = [9000, 9000]
        self.parents: dict[int, set[int]] = defaultdict(set)
        self.at_work: set[int] = set()

    def make(self, pours: dict[int, int], lost: int, *, finish: bool) -> None:
        """A batch of some of the lots there are, weighed in as additions."""
        poured = {lot: grams for lot, grams in pours.items() if grams < self.held(lot)}
        if not poured:
            return
        batch = self.shop.plan(self.formula, "1 g")
        for lot, grams in poured.items():
            self.shop.does(
                weigh,
                batch=batch.batch.id,
                lot=self.lots[lot].id,
                quantity=parse_quantity(f"{grams} g"),
                happened_at=MORNING,
            )
            self.left[lot] -= grams
        if not finish:
            self.at_work |= set(poured)
            return
        output = max(1, sum(poured.values()) - lost)
        self.parents[len(self.lots)] = set(poured)
        self.lots.append(self.shop.finish(batch, f"{output} g").lot)
        self.left.append(output)

    def held(self, lot: int) -> int:
        return self.left[lot] if lot < len(self.lots) else 0

    def take(self, lot: int, fate: str) -> None:
        """All that is left goes; of what was bought a gram, so that a batch may be planned."""
        grams = 1 if lot < 2 else self.held(lot)
        if not grams:
            return
        lines = [Taken(self.lots[lot].id, parse_quantity(f"{grams} g"))]
        if fate == "sold":
            self.shop.does(sell, lines=lines, customer=f"buyer {lot}", happened_at=MORNING)
        elif fate == "shop":
            self.shop.does(consign, lines=lines, shop="quay shop", happened_at=MORNING)
        else:
            facts = {"purpose": fate, "reason": "stated", "happened_at": MORNING}
            self.shop.does(issue, lines=lines, **facts)
        self.left[lot] -= grams

    def made_of(self, root: int) -> set[int]:
        """By the plain definition: whoever has a parent that was made of it, or is it."""
        reached = {root}
        for child in sorted(self.parents):
            if self.parents[child] & reached:
                reached.add(child)
        return reached - {root}


@settings(max_examples=12, deadline=None)
@given(
    makings=st.lists(st.tuples(POURS, st.integers(0, 20)), min_size=3, max_size=6),
    started=POURS,
    fates=FATES,
    root=st.integers(0, 3),
)
def test_a_hold_and_a_recall_go_through_any_tree(
    makings: list[tuple[dict[int, int], int]],
    started: dict[int, int],
    fates: list[tuple[int, str]],
    root: int,
) -> None:
    tree = Tree(open_workshop())
    for pours, lost in makings:
        tree.make(pours, lost, finish=True)
    tree.make(started, 0, finish=False)
    for lot, fate in fates:
        tree.take(lot, fate)
    root = min(root, len(tree.lots) - 1)
    recalled = tree.shop.does(recall_list, lot=tree.lots[root].id)
    assert_the_recall_closes(tree, root, recalled)
    held = tree.shop.does(
        decide_through, lot=tree.lots[root].id, decision="hold", basis="smells of paint"
    )
    assert_the_hold_reaches_what_is_there(tree, root, held)
    assert tree.shop.disagreements() == []


def assert_the_recall_closes(tree: Tree, root: int, recalled: RecallList) -> None:
    """Every gram of the lot is found, in it or in what was made of it, and nothing else is."""
    of_it = {tree.lots[lot].id for lot in {root, *tree.made_of(root)}}
    assert {listed.id for listed in recalled.lots} == of_it
    assert [listed.unexplained for listed in recalled.lots] == [0] * len(of_it)
    assert recalled.accounted == recalled.received


def assert_the_hold_reaches_what_is_there(tree: Tree, root: int, held: Decided) -> None:
    """What was made of it and is in store or in a batch is held; all else stays released."""
    made = tree.made_of(root)
    assert {one.id for one in held.affected} == {tree.lots[lot].id for lot in made}
    there = {lot for lot in made if tree.left[lot] or lot in tree.at_work}
    stopped = {root, *there}
    statuses = [str(tree.shop.does(custody_of, lot=lot).status) for lot in tree.lots]
    assert statuses == ["hold" if lot in stopped else "released" for lot in range(len(tree.lots))]
    assert [D(one.on_hand) for one in held.affected] == [
        tree.left[lot] for lot in range(len(tree.lots)) if lot in made
    ]
