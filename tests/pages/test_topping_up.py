"""The rest of a lot is used up and another makes up: seen before, done by its page, and read."""

from dataclasses import dataclass

import pytest
from django.test import Client

from formulas.alternates import AlternateDraft
from formulas.composing import write_formula
from formulas.composition import Balance, Fixed
from formulas.drafts import Draft, LineDraft, PhaseDraft
from formulas.models import TopUp
from formulas.planning import Planned
from ledger.access import acting_as
from ledger.models import Lot, Material
from tests.factories import D, Workshop
from tests.pages.browsing import done, refused, sent, shown
from tests.pages.figures import figures_of, opened


@dataclass(frozen=True)
class Wash:
    """A wash of 15 % paste (70 % active), whose alternate is a grade of 28 %; 52 % water."""

    paste: Material
    grade: Material
    left: Lot
    other: Lot
    planned: Planned

    @property
    def line(self) -> str:
        return str(self.planned.lines[1].line.id)

    @property
    def path(self) -> str:
        return f"/batches/{self.planned.batch.id}/top-up?line={self.line}"


@pytest.fixture
def wash(shop: Workshop) -> Wash:
    inci = "Sodium Laureth Sulfate"
    paste, grade = (shop.material(name, inci_name=inci) for name in ("Paste", "Thin grade"))
    oil, water = shop.material("Glycerin"), shop.water()
    left = shop.receive(paste, "820 g", "4.84")
    other = shop.receive(grade, "5 kg", "11.75")
    shop.receive(oil, "20 kg", "20.00")
    stands_in = [AlternateDraft(grade.id, D(28))]
    lines = [
        LineDraft(Balance(), material=water.id),
        LineDraft(Fixed(D(15)), paste.id, active_percent=D(70), alternates=stands_in),
        LineDraft(Fixed(D(33)), material=oil.id),
    ]
    formula = shop.does(write_formula, Draft(name="Wash", phases=[PhaseDraft("A", lines)]))
    return Wash(paste, grade, left, other, shop.plan(formula, "10 kg"))


def looked(client: Client, path: str, **typed: str) -> str:
    """What a top-up would come to."""
    answer = sent(client, path, do="look", **typed)
    assert answer.status_code == 200
    return shown(answer)


def test_what_it_comes_to_is_seen_before_and_then_done(
    shop: Workshop, client: Client, wash: Wash
) -> None:
    bench = client.get(f"/batches/{wash.planned.batch.id}/bench?line={wash.line}")
    assert wash.path in bench.content.decode()
    assert wash.path in client.get(f"/batches/{wash.planned.batch.id}").content.decode()
    chosen = {"lot": str(wash.left.id), "other": f"material:{wash.grade.id}"}
    page = looked(client, wash.path, **chosen)
    for words in (
        f"{wash.left.code}, to its end 820 g",
        "instead of 680 g 1,700 g",
        "gives way, from 5,200 g 4,180 g",
        "kept 574 g, to be made up 476 g 1,050 g",
        "70 % = 476 g",
        "476 g ÷ 28 % = 1,700 g",
        "680 g) = 4,180 g",
        "is not recorded: see its data sheet",
        "of its own alone 8.85 USD 8.84 USD",
    ):
        assert words in page
    with acting_as(shop.actor):
        assert not TopUp.objects.exists()
    assert (shop.reserved(wash.left), shop.reserved(wash.other)) == (820, 0)
    weighing = done(client, wash.path, **chosen)
    assert "Aqua 0 g / 4,180 g Paste 0 g / 820 g Thin grade 0 g / 1,700 g" in weighing
    assert (shop.reserved(wash.left), shop.reserved(wash.other)) == (820, 1700)
    page = shown(client.get(wash.path))
    assert "Thin grade 1,700 g instead of 680 g" in page
    file = client.get(f"{wash.path}&as=csv").content.decode().splitlines()
    assert file[1].count("1700") == 1


def test_what_the_batch_wants_then_opens_to_what_was_made_up(client: Client, wash: Wash) -> None:
    done(client, wash.path, lot=str(wash.left.id), other=f"material:{wash.grade.id}")
    page = client.get(f"/batches/{wash.planned.batch.id}").content.decode()
    wanted = [opened(client, one.to) for one in figures_of(page) if "line=" in one.to]
    assert {one.name: [part.exact for part in one.parts] for one in wanted} == {
        "Wanted of Aqua": [D(5200), D(-1020)],
        "Wanted of Paste": [D(1500), D(-680)],
        "Wanted of Thin grade": [D(1700)],
        "Wanted of Glycerin": [D(3300)],
    }
    assert all(one.adds_up for one in wanted)
    assert wanted[0].parts[1].name.startswith("since Thin grade makes up for Paste, ")


def test_another_lot_or_none_of_its_own(shop: Workshop, client: Client, wash: Wash) -> None:
    mine = str(wash.left.id)
    same = {"lot": mine, "other": f"other_lot:{mine}"}
    assert "made up with another one" in refused(client, wash.path, **same)
    page = looked(client, wash.path, lot="", other="")
    assert "instead of 1,500 g 3,750 g" in page
    assert "to its end" not in page
    certain = {"lot": mine, "other": f"other_lot:{wash.other.id}"}
    answer = client.post(wash.path, {**certain, "do": "look"}, headers={"HX-Request": "true"})
    assert "<h1>" not in answer.content.decode()
    assert f"{wash.other.code} · instead of" in shown(answer)
    wrong = sent(client, wash.path, do="look", lot="", other="other_lot:none")
    assert "Choose one of those" in shown(wrong)


def test_what_cannot_be_made_up_says_why(shop: Workshop, client: Client, wash: Wash) -> None:
    oil = wash.planned.lines[2].line.id
    path = f"/batches/{wash.planned.batch.id}/top-up"
    assert "still wanted" in shown(client.get(path))
    assert "Nothing can stand in" not in shown(client.get(wash.path))
    assert "This line has no alternates" in refused(client, f"{path}?line={oil}")
    assert "Of which ingredient" in shown(client.get(f"{path}?line=nothing"))
    shop.weigh(wash.planned, 1, wash.left, "820 g")
    # Of the lot nothing is left, so it is not among those that are used up.
    assert "Used up to the last gram None" in shown(client.get(wash.path))
    assert sent(client, path, lot="").status_code == 422


def test_a_sum_is_in_grams_alone_for_who_reads_in_pounds(client: Client, wash: Wash) -> None:
    """With the pounds of each beside it, it would say that 680 g is 476 g."""
    done(client, "/look", units="us", numbers="en", theme="")
    page = looked(client, wash.path, lot=str(wash.left.id), other=f"material:{wash.grade.id}")
    times, less = "\N{MULTIPLICATION SIGN}", "\N{MINUS SIGN}"
    assert f"680 g {times} 70 % = 476 g. 476 g ÷ 28 % = 1,700 g = 3.74" in page
    assert f"5,200 g {less} (1,700 g {less} 680 g) = 4,180 g = 9.2" in page
    bench = shown(client.get(f"/batches/{wash.planned.batch.id}/bench"))
    assert "Paste 0 g / 1,500 g" in bench
