"""What a device kept while the network was away: when it was done, and in nobody else's name."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client

from api.pages.kept import done_at, mark_of
from formulas.composing import write_formula
from formulas.composition import Fixed
from formulas.drafts import Draft, LineDraft, PhaseDraft
from formulas.models import BatchCheck, Making, Measurement, Weighing
from formulas.planning import Planned
from ledger.access import acting_as
from ledger.models import Lot, Membership
from tests.factories import D, Workshop
from tests.pages.browsing import done, in_role, refused, sent, shown

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
HOUR_MS = 3_600_000


@pytest.fixture
def serum(shop: Workshop) -> Planned:
    """Oil, and a scent that heat would harm."""
    oil, scent = shop.material("Squalane"), shop.material("Rose oil")
    shop.receive(oil, "5 kg", "50.00")
    shop.receive(scent, "1 kg", "90.00")
    lines = [
        LineDraft(Fixed(D("99")), material=oil.id),
        LineDraft(Fixed(D("1")), material=scent.id, max_celsius=D("40")),
    ]
    return shop.plan(shop.does(write_formula, Draft("Serum", [PhaseDraft("A", lines)])), "1 kg")


def weighing(shop: Workshop, planned: Planned, place: int, grams: str) -> dict[str, str]:
    line = planned.lines[place]
    with acting_as(shop.actor):
        lot = Lot.objects.get(id=line.picks[0].lot_id).code
    return {"line": str(line.line.id), "lot": lot, "quantity": grams}


@pytest.mark.parametrize(
    ("ago", "before"),
    [
        (str(2 * HOUR_MS), timedelta(hours=2)),
        (str(7 * 24 * HOUR_MS), timedelta(days=7)),
        # Sent at once, kept for longer than anything is, to come, and no number of a device.
        ("30000", timedelta()),
        (str(8 * 24 * HOUR_MS), timedelta()),
        (str(-HOUR_MS), timedelta()),
        ("9" * 5000, timedelta()),
        ("\N{ARABIC-INDIC DIGIT SEVEN}" * 7, timedelta()),
        ("7.2e6", timedelta()),
        ("", timedelta()),
    ],
)
def test_it_was_done_as_long_ago_as_a_device_can_have_kept_it(ago: str, before: timedelta) -> None:
    assert NOW - done_at(ago, NOW) == before


def test_a_mark_is_of_one_person_for_one_maker(shop: Workshop, client: Client) -> None:
    mark = mark_of(shop.actor.maker, "bo")
    assert re.fullmatch("[0-9a-f]{16}", mark)
    assert mark_of(shop.actor.maker, "bea") != mark
    assert mark_of(None, "bo") == mark_of(shop.actor.maker, "") == ""
    assert 'data-whose=""' in client.get("/sign-in").content.decode()


def whose(client: Client) -> str:
    """The mark that a page gives to a device."""
    (found,) = re.findall(r'<body data-whose="([^"]+)">', client.get("/lots").content.decode())
    return str(found)


def test_nobody_sends_what_somebody_else_typed(
    shop: Workshop, client: Client, serum: Planned
) -> None:
    bench, facts = f"/batches/{serum.batch.id}/bench", weighing(shop, serum, 0, "990")
    other = in_role(shop, Membership.Role.BENCH)
    assert whose(other) != whose(client)
    answer = sent(other, bench, **facts, whose=whose(client))
    assert answer.status_code == 409
    assert "Somebody else typed this" in shown(answer)
    assert "In: 990" in done(client, bench, **facts, whose=whose(client))
    with acting_as(shop.actor):
        (kept,) = Weighing.objects.filter(batch=serum.batch)
        assert kept.person_id == shop.actor.person_id


def ago(minutes: int) -> str:
    return str(minutes * 60_000)


def test_what_was_kept_has_the_time_when_it_was_done(
    shop: Workshop, client: Client, serum: Planned
) -> None:
    path, now = f"/batches/{serum.batch.id}", datetime.now(UTC)
    oil, scent = weighing(shop, serum, 0, "990"), weighing(shop, serum, 1, "10")
    heat = {"do": "measure", "measure": "temperature"}
    done(client, f"{path}/bench", **oil, ago=ago(500))
    done(client, f"{path}/bench", **heat, value="70 degC", ago=ago(400))
    done(client, f"{path}/bench", **heat, value="30 degC", ago=ago(200))
    # It has cooled by now, and was too hot when the scent is said to have gone in.
    assert "last at 70 degC" in refused(client, f"{path}/bench", **scent, ago=ago(300))
    assert "In: 10" in done(client, f"{path}/bench", **scent, ago=ago(100))
    done(client, f"{path}/checks", kind="equipment", result="pass", subject="pot", ago=ago(90))
    done(client, f"{path}/finish", output="995 g", ago=ago(80))
    with acting_as(shop.actor):
        weighed = Weighing.objects.filter(batch=serum.batch).order_by("id")
        measured = Measurement.objects.filter(batch=serum.batch).order_by("id")
        made = Making.objects.select_related("entry").get(batch=serum.batch)
        check = BatchCheck.objects.get(batch=serum.batch)
        rows = [weighed[0], *measured, weighed[1], check, made.entry]
    for row, minutes in zip(rows, (500, 400, 200, 100, 90, 80), strict=True):
        # Within the minutes that a slow machine takes for this.
        assert timedelta() <= row.happened_at + timedelta(minutes=minutes) - now
        assert row.happened_at + timedelta(minutes=minutes - 9) < now


def test_what_is_typed_at_the_bench_is_kept_on_all_its_pages(
    shop: Workshop, client: Client, serum: Planned
) -> None:
    path = f"/batches/{serum.batch.id}"
    done(client, f"{path}/bench", **weighing(shop, serum, 0, "990"))
    kept = {
        "bench": {"weigh", "measure", "add", "back", "undo"},
        f"top-up?line={serum.lines[1].line.id}": {"top-up"},
        "rework": {"rework"},
        "checks": {"check"},
        "finish": {"finish"},
    }
    for page, forms in kept.items():
        text = client.get(f"{path}/{page}").content.decode()
        assert set(re.findall(r'data-kept="([a-z-]+)"', text)) == forms, page
    done(client, f"{path}/finish", output="980 g", sure="on", basis="it looks right")
    product = shop.product(serum.batch.version, "10 g")
    assert 'data-kept="fill"' in client.get(f"{path}/fill").content.decode()
    pieces = {"product": str(product.id), "units": "10", "used": "100 g"}
    answer = sent(client, f"{path}/fill", **pieces)
    assert answer.status_code == 303, shown(answer)
    assert 'data-kept="units"' in client.get(answer["Location"]).content.decode()


def test_it_is_the_same_form_however_long_it_waited(
    shop: Workshop, client: Client, serum: Planned
) -> None:
    """The answer was lost on its way: what is sent again is done already."""
    bench, facts = f"/batches/{serum.batch.id}/bench", weighing(shop, serum, 0, "990")
    key = {"form_key": "of a device", "whose": whose(client)}
    leads = [
        client.post(bench, {**facts, **key, "ago": ago})["Location"] for ago in ("12", "7300000")
    ]
    assert leads[0] == leads[1]
    with acting_as(shop.actor):
        assert Weighing.objects.filter(batch=serum.batch).count() == 1
