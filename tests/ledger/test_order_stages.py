"""In which stages a plan is searched for, and what each is told: worked by hand.

The solver is the true one; the clock is not, so that a step takes as long as the test says.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal as D
from fractions import Fraction
from types import SimpleNamespace

import pytest

from ledger import order_stages
from ledger.covers import Cover, cheapest_cover
from ledger.order_model import Model, model_of
from ledger.order_numbers import Choice, Question, Tier
from ledger.order_stages import Outcome, Packs, search
from ledger.solver import Found, Program, solve
from tests.ledger.order_questions import agreed, asking

NOW = 5 * 10**9
FREE = agreed()


def seconds(number: int) -> int:
    return NOW + number * 10**9


def offer(
    supplier: int, size: int, *prices: int, material: int = 0, usable: int | None = None
) -> Choice:
    """Every price but the first is reached with four packs more."""
    firsts = range(1, 4 * len(prices), 4)
    lasts = [*(first - 1 for first in firsts[1:]), None]
    tiers = tuple(map(Tier, firsts, lasts, prices))
    return Choice(material, supplier, size, tiers, usable=usable)


@dataclass
class Watched:
    """What the stages ask of others, and the packs that were judged."""

    now: int = NOW
    takes: int = 0
    in_packs: list[set[int]] = field(default_factory=list)
    starts: list[list[int] | None] = field(default_factory=list)
    asked: list[tuple[Fraction, D]] = field(default_factory=list)
    judged: list[list[int]] = field(default_factory=list)
    answers: list[Found] = field(default_factory=list)
    models: list[Model] = field(default_factory=list)

    def model_of(self, question: Question, in_packs: Collection[int]) -> Model:
        self.in_packs.append(set(in_packs))
        self.models.append(model_of(question, in_packs))
        return self.models[-1]

    def solve(
        self, program: Program, *, seconds: Fraction, within: D, start: Sequence[int] | None
    ) -> Found:
        """To proof, whatever is near enough."""
        self.asked.append((seconds, within))
        self.starts.append(None if start is None else self.models[-1].packs(start))
        self.now += self.takes * 10**9
        return self.answers.pop(0) if self.answers else solve(program, seconds=Fraction(600))

    def judge(self, question: Question) -> Callable[[Packs], int | None]:
        """What packs cost, by the prices and terms; None below a least amount or the need."""

        def told(packs: Packs) -> int | None:
            self.judged.append(list(packs))
            bought = [(c, n) for c, n in zip(question.choices, packs, strict=True) if n]
            cost = 0
            for supplier in {choice.supplier for choice, _ in bought}:
                goods = sum(c.price(n) for c, n in bought if c.supplier == supplier)
                if goods < question.agreed[supplier].minimum:
                    return None
                cost += goods + question.agreed[supplier].flat
            held = [
                sum(c.size * n for c, n in bought if c.material == material)
                for material in range(len(question.needs))
            ]
            return cost if all(map(int.__ge__, held, question.needs)) else None

        return told


@pytest.fixture
def watched(monkeypatch: pytest.MonkeyPatch) -> Watched:
    """Stages as for many offers, but for the choice among covers."""
    found = Watched()
    monkeypatch.setattr(order_stages, "_FEW", 1)
    monkeypatch.setattr(order_stages, "model_of", found.model_of)
    monkeypatch.setattr(order_stages, "solve", found.solve)
    monkeypatch.setattr(order_stages, "time", SimpleNamespace(monotonic_ns=lambda: found.now))
    return found


def searched(
    watched: Watched, question: Question, *, until: int = seconds(60), within: str = "0"
) -> Outcome:
    return search(question, watched.judge(question), until=until, within=D(within))


# Three packs of the first cover ten for 150, and with a fourth its least amount of 190. One pack of
# the second is 120; it has 5 of freight, and its least asks for a second pack.
TWO = asking([10], [agreed(least=190), agreed(5, least=190)], offer(0, 4, 50), offer(1, 10, 120))


def test_amounts_beyond_the_need_become_packs_where_they_are_wanted(watched: Watched) -> None:
    """It begins with two of the second for 245. Then 190 with 40 at the first beyond its packs,
    which are 200; 195 with 70 at the second; and at last 200, with the packs of either."""
    assert searched(watched, TWO) == Outcome([4, 0], 200, False)
    assert watched.in_packs == [set(), {0}, {0, 1}]
    assert watched.judged == [[0, 2], [4, 0], [0, 2], [4, 0]]
    assert watched.starts == [[0, 1], [4, 0], [4, 0]]
    assert watched.asked == [(Fraction(60), D(0))] * 3


def test_what_is_near_enough_ends_it(watched: Watched) -> None:
    """200 is 10 above the bound of 190: a twentieth."""
    assert searched(watched, TWO, within="0.05") == Outcome([4, 0], 190, False)
    assert watched.asked == [(Fraction(60), D("0.05"))]
    watched.in_packs.clear()
    assert searched(watched, TWO, within="0.049") == Outcome([4, 0], 195, False)
    assert watched.in_packs == [set(), {0}]


def test_time_ends_it(watched: Watched) -> None:
    watched.takes = 20
    assert searched(watched, TWO, until=seconds(40)) == Outcome([4, 0], 195, False)
    assert [left for left, _ in watched.asked] == [40, 20]


def test_few_offers_are_asked_for_in_packs_at_once(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(order_stages, "_FEW", 2)
    assert searched(watched, TWO) == Outcome([4, 0], 200, False)
    assert (watched.in_packs, watched.starts) == ([{0, 1}], [None])
    assert watched.judged == [[4, 0]]


def test_the_highest_bound_is_kept_and_the_best_answer(watched: Watched) -> None:
    """An answer without values, and one that is dearer, with lower bounds than were known."""
    watched.answers = [Found(None, 180, False), Found(None, 170, False)]
    assert searched(watched, TWO) == Outcome([0, 2], 180, False)
    assert watched.in_packs == [set(), {0, 1}]


def test_what_cannot_be_is_told_unless_something_was_found(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    nothing = Found(None, 0, True)
    watched.answers = [nothing, nothing]
    assert searched(watched, TWO) == Outcome([0, 2], 0, False)
    monkeypatch.setattr(order_stages, "_FEW", 2)
    watched.answers = [nothing]
    assert searched(watched, TWO) == Outcome(None, 0, True)
    for bound in (0, 7):
        watched.answers = [Found(None, bound, False)]
        assert searched(watched, TWO) == Outcome(None, bound, False)


def test_nothing_needed_is_nothing_asked(watched: Watched) -> None:
    assert searched(watched, asking([], [])) == Outcome((), 0, False)
    assert (watched.judged, watched.asked) == ([], [])


def test_it_begins_with_the_cheapest_cover_of_each_material(watched: Watched) -> None:
    """The first material: 15, 14 or two for 14. The second: one supplier, of whose offers one
    keeps too short for three packs, so that all of the cover must; the third is 5 beside 6."""
    question = asking(
        [10, 10, 1],
        [FREE] * 3,
        offer(0, 4, 5),
        offer(1, 10, 14),
        offer(2, 5, 7),
        offer(0, 4, 5, material=1, usable=11),
        offer(0, 20, 2, material=1, usable=30),
        offer(0, 10, 18, material=1),
        offer(1, 1, 6, material=2),
        offer(2, 1, 5, material=2),
    )
    assert searched(watched, question, until=NOW).packs is not None
    assert watched.judged[0] == [0, 1, 0, 0, 0, 1, 0, 1]


@dataclass
class Choosing:
    """In place of the choice among covers: it tells of packs that the test names."""

    tells: list[list[int]]
    bound: int
    added: list[tuple[int, Mapping[int, int]]] = field(default_factory=list)
    best: list[int | None] = field(default_factory=list)
    asked: list[tuple[int, D]] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    def __call__(self, question: Question) -> "Choosing":
        self.questions.append(question)
        return self

    def add(self, material: int, packs: Mapping[int, int]) -> bool:
        self.added.append((material, packs))
        return True

    def search(self, hear: Callable[[Packs], int | None], until: int, within: D) -> None:
        self.asked.append((until, within))
        self.best += [hear(packs) for packs in self.tells]


def choosing(
    monkeypatch: pytest.MonkeyPatch, tells: list[list[int]], bound: int, many: int = 1
) -> Choosing:
    stub = Choosing(tells, bound)
    monkeypatch.setattr(order_stages, "CoverChoice", stub)
    monkeypatch.setattr(order_stages, "_MANY", many)
    return stub


def test_of_many_offers_covers_are_chosen_among_first(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each supplier's cover is known at once. What is heard is topped up to the least amount, and
    the best is told; what comes near enough to the bound is not put to the solver."""
    choice = choosing(monkeypatch, [[3, 0], [0, 0], [5, 0]], 200)
    assert searched(watched, TWO) == Outcome([4, 0], 200, False)
    assert choice.questions == [TWO]
    assert choice.added == [(0, {0: 3}), (0, {1: 1})]
    assert choice.best == [200, 200, 200]
    assert watched.judged == [[0, 2], [4, 0], [0, 0], [5, 0]]
    assert watched.asked == []
    # As many as are not many yet have a start alone.
    choice = choosing(monkeypatch, [], 200, many=2)
    assert searched(watched, TWO).bound == 200
    assert (choice.asked, len(watched.asked)) == ([], 3)


def test_a_cheaper_plan_that_is_heard_is_the_start(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The cheapest cover is 150, with 90 of freight. The choice finds the other, for 160."""
    question = asking([10], [agreed(90, least=0), FREE], offer(0, 4, 50), offer(1, 10, 160))
    choice = choosing(monkeypatch, [[0, 1], [1, 1]], 130)
    assert searched(watched, question, within="0.01") == Outcome([0, 1], 160, False)
    assert choice.best == [160, 160]
    assert watched.starts == [[0, 1]]


@pytest.mark.parametrize(
    ("within", "until", "near"),
    [
        ("0", NOW + 10_333_333_333, "0.001"),
        ("0.0009", NOW + 10_333_333_333, "0.001"),
        ("0.001", NOW + 24_800_000_000, "0.001"),
        ("0.01", NOW + 24_800_000_000, "0.01"),
    ],
)
def test_how_long_is_chosen_among_covers(
    watched: Watched, monkeypatch: pytest.MonkeyPatch, within: str, until: int, near: str
) -> None:
    """A third of the time if a proof is wanted, four fifths if not: of 31 seconds and a little."""
    choice = choosing(monkeypatch, [], 200)
    searched(watched, TWO, until=seconds(31) + 1, within=within)
    assert choice.asked == [(until, D(near))]


def test_a_least_amount_is_reached_with_the_cheapest_that_is_ordered(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """55 of 100 at the first: 45 more are four at 12, the price of many. A gift reaches nothing,
    and what is not ordered does not come to be. At the second one pack more for a lack of one."""
    question = asking(
        [1],
        [agreed(least=100), agreed(least=8), FREE],
        offer(0, 1, 30, 20, 12),
        offer(0, 1, 25),
        offer(0, 1, 10),
        offer(0, 1, 0),
        offer(1, 1, 7),
        offer(2, 1, 1),
    )
    told = [
        ([1, 1, 0, 2, 1, 0], [5, 1, 0, 2, 2, 0]),
        ([0, 4, 0, 0, 0, 3], [0, 4, 0, 0, 0, 3]),
        ([0, 0, 0, 1, 0, 0], [0, 0, 0, 1, 0, 0]),
        ([0, 1, 1, 0, 0, 0], [0, 1, 8, 0, 0, 0]),
    ]
    choosing(monkeypatch, [packs for packs, _ in told], 0)
    searched(watched, question, until=NOW)
    assert watched.judged[1:5] == [topped for _, topped in told]


def test_the_tables_of_all_covers_together_have_a_length(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A million and a half, shared by a hundred pairs of material and supplier, and 100 for each;
    never more than one cover alone may have."""
    asked = []

    def covering(
        need: int, choices: Sequence[Choice], within: int | None, longest: int
    ) -> Cover | None:
        asked.append(longest)
        return cheapest_cover(need, choices, within, longest)

    monkeypatch.setattr(order_stages, "cheapest_cover", covering)
    for pairs in (2, 100):
        offers = [offer(0, 1, 5, material=n) for n in range(pairs)]
        searched(watched, asking([1] * pairs, [FREE], *offers), until=NOW)
    assert asked == [20_000] * 2 + [15_100] * 100
