"""Ten thousand events were told by the machines before, and each kind often enough."""

import sys

import pytest

from tests.stateful.telling import DONE, REFUSED, SEED, happened

# What must have been done so often, and refused sometimes, too. The stories differ a little with
# whatever else is loaded, so these are well below what is usual.
OFTEN = {
    "receive": 500,
    "take": 80,
    "plan": 200,
    "weigh": 500,
    "weigh back": 20,
    "finish": 50,
    "fill": 1,
    "cancel": 20,
    "undo take": 30,
    "undo make": 5,
}


def test_enough_was_told(capsys: pytest.CaptureFixture[str]) -> None:
    if not (DONE["receive"] and DONE["finish"]):
        pytest.skip("Not both machines have run.")
    lines = [f"Stories of seed {SEED}: {DONE.total()} events done, {REFUSED.total()} refused."]
    lines += [f"  {what:20}{DONE[what]:7}{REFUSED[what]:7}" for what in sorted(DONE | REFUSED)]
    with capsys.disabled():
        sys.stdout.write("\n".join(["", *lines, ""]))
    assert happened() >= 10_000
    # Of the rarest undoings, one or two may not come up.
    rare = ["undo fill", "undo cancel", "undo weigh_back", "undo sale", "undo customer_return"]
    assert len([what for what in rare if not DONE[what]]) <= 2
    assert {what: DONE[what] for what, least in OFTEN.items() if DONE[what] < least} == {}
    never = {"receive", "plan"}
    assert [what for what in OFTEN if what not in never and not REFUSED[what]] == []
