"""A formula is saved while a long list of formulas is tried: nobody waits for all of the list."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from formulas import formula_lists
from formulas.formula_lists import check_formulas, import_formulas
from formulas.models import FormulaVersion
from ledger.price_list_rows import ListRow
from tests.factories import Workshop, open_workshop

pytestmark = pytest.mark.usefixtures("database")
LONG_S = 20


def meanwhile(shop: Workshop, import_or_check: Callable[..., Any], wait_s: float) -> Any:
    """What was saved between two parts of a list, if it was before the list went on."""
    oil = shop.material("Oil")
    saved: list[FormulaVersion] = []
    seen: list[int] = []
    threads: list[threading.Thread] = []

    def save() -> None:
        try:
            saved.append(shop.formula("Soap", [(oil, "100")]))
        finally:
            connection.close()

    def told(done: int) -> None:
        if not threads:
            threads.append(threading.Thread(target=save))
            threads[0].start()
            threads[0].join(wait_s)
            seen.append(len(saved))

    rows = [
        ListRow(number, {"formula": f"Balm {number}", "ingredient": "Oil", "percent": "100"})
        for number in (2, 3)
    ]
    found = shop.does(import_or_check, rows=rows, told=told)
    assert len(found.written) == 2
    threads[0].join(LONG_S)
    assert len(saved) == 1
    return seen


def test_a_trial_keeps_nobody_from_saving_a_formula(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(formula_lists, "AT_ONCE", 1)
    assert meanwhile(open_workshop(), check_formulas, LONG_S) == [1]


def test_a_list_that_is_taken_in_has_its_turn_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: two writers of formulas do wait for each other."""
    monkeypatch.setattr(formula_lists, "AT_ONCE", 1)
    assert meanwhile(open_workshop(), import_formulas, 1) == [0]
