"""Ten thousand events were told by the machines before, and each kind often enough."""

import sys

import pytest

from tests.stateful.telling import DONE, REFUSED, SEED, happened

# What must have been done so often, and refused sometimes, too.
OFTEN = {
    "receive": 900,
    "take": 150,
    "plan": 300,
    "weigh": 900,
    "weigh back": 40,
    "finish": 150,
    "fill": 15,
    "cancel": 40,
    "undo take": 100,
    "undo make": 25,
    "undo fill": 3,
    "undo cancel": 3,
}


def test_enough_was_told(capsys: pytest.CaptureFixture[str]) -> None:
    if not (DONE["receive"] and DONE["finish"]):
        pytest.skip("Not both machines have run.")
    lines = [f"Stories of seed {SEED}: {DONE.total()} events done, {REFUSED.total()} refused."]
    lines += [f"  {what:20}{DONE[what]:7}{REFUSED[what]:7}" for what in sorted(DONE | REFUSED)]
    with capsys.disabled():
        sys.stdout.write("\n".join(["", *lines, ""]))
    assert happened() >= 10_000
    # The rarest undoings come up now and then.
    rare = ["undo weigh_back", "undo sale", "undo customer_return"]
    assert [what for what in rare if not DONE[what]] == []
    assert {what: DONE[what] for what, least in OFTEN.items() if DONE[what] < least} == {}
    never = {"receive", "plan", "undo fill", "undo cancel"}
    assert [what for what in OFTEN if what not in never and not REFUSED[what]] == []
