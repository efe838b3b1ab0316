"""What mails say, kind by kind."""

from datetime import date
from decimal import Decimal

import pytest

from ledger.alert_texts import told
from ledger.amounts import Amount
from ledger.models import AlertKind

OIL = {"name": "Olive\noil", "counted": False, "lot": "NB7"}


def low(**facts: object) -> dict[str, object]:
    figures = {"position": "750", "reorder_point": "1000", "daily_use": "50", "available": "750"}
    return {**OIL, **figures, "runs_out_on": "2026-07-16", **facts}


def test_what_is_low() -> None:
    words = told("low_stock", low())
    assert words.subject.places["position"] == Amount(Decimal(750), counted=False)
    assert words.subject == "Olive oil is low: 750 g to count on, reorder at 1 kg"
    assert words.lines == (
        "Olive oil is running low.",
        "",
        "Position:       750 g",
        "Reorder point:  1 kg",
        "Runs out:       16 Jul 2026, by what is planned or at 50 g a day",
        "",
        "The position is what may be used today and what is on order, less all that planned",
        "batches need. Lots in quarantine, on hold, rejected or past their date do not count.",
        "",
        "You will hear of this again only after the position has been above the point.",
    )
    jars = told("low_stock", low(name="Jar", counted=True))
    assert jars.subject == "Jar is low: 750 pieces to count on, reorder at 1,000 pieces"


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"daily_use": "0"}, "16 Jul 2026, by what is planned"),
        ({"runs_out_on": None}, "not soon, at 50 g a day"),
        (
            {"runs_out_on": None, "daily_use": "0"},
            "not known; none was used in the last ninety days, and no batch needs the rest",
        ),
    ],
)
def test_when_what_is_low_runs_out(facts: dict[str, object], words: str) -> None:
    assert told("low_stock", low(**facts)).lines[4] == f"Runs out:       {words}"


def test_a_batch_that_is_short() -> None:
    short = [
        {"name": "Olive oil", "counted": False, "quantity": "1500", "order_by": "2026-07-01"},
        {"name": "Jar", "counted": True, "quantity": "12", "order_by": None},
    ]
    facts = {"code": "NB26-004", "planned_for": "2026-07-11", "short": short, "more": 2}
    words = told("batch_short", facts)
    assert words.subject.places["day"] == date(2026, 7, 11), "a page writes it as its reader does"
    assert words.subject == "Batch NB26-004 for 11 Jul 2026 is short"
    assert words.lines == (
        "Batch NB26-004, planned for 11 Jul 2026, can't be made.",
        "- Olive oil: 1.5 kg short; order it by 1 Jul 2026",
        "- Jar: 12 pieces short",
        "- and 2 more materials",
    )


@pytest.mark.parametrize(
    ("others", "names", "line"),
    [
        (0, [], None),
        (1, [], "1 other maker uses this material in the co-op."),
        (2, [], "2 other makers use this material in the co-op."),
        (2, ["Mill Bench"], "2 other makers use this material: Mill Bench."),
        (2, ["Mill\nBench", "Dune"], "2 other makers use this material: Mill Bench, Dune."),
    ],
)
def test_a_lot_that_ends(others: int, names: list[str], line: str | None) -> None:
    figures = {"quantity": "2000", "at_risk": "500", "daily_use": "100"}
    facts = {**OIL, **figures, "expires_on": "2026-07-15", "others": others, "others_named": names}
    words = told("expiring", facts)
    assert words.subject == "Lot NB7 of Olive oil expires on 15 Jul 2026"
    assert words.lines[:2] == (
        "Lot NB7 of Olive oil may be used until 15 Jul 2026.",
        "There is 2 kg of it, and 500 g will be left at 100 g a day.",
    )
    assert words.lines[2:] == (() if line is None else (line,))
    taken = told("expiring", {**facts, "promised": "750"}).lines
    assert taken[2] == "Planned batches take 750 g of it."
    assert taken[3:] == words.lines[2:]
    assert told("expiring", {**facts, "promised": "0"}) == words
    is_open = told("expiring", {**facts, "opened_on": "2026-06-01", "use_by": "2026-07-01"})
    assert is_open.subject == "Lot NB7 of Olive oil is open: use it by 1 Jul 2026"
    assert is_open.lines == (
        "Lot NB7 of Olive oil may be used until 1 Jul 2026.",
        "It was opened on 1 Jun 2026.",
        *words.lines[1:],
    )


def test_a_lot_to_be_retested_and_one_that_waits() -> None:
    words = told("retest_due", {**OIL, "quantity": "2000", "retest_on": "2026-07-15"})
    assert words.subject == "Lot NB7 of Olive oil is to be retested by 15 Jul 2026"
    assert words.lines == (
        "Lot NB7 of Olive oil, 2 kg, may be used until 15 Jul 2026 unless it is retested.",
    )
    words = told("quarantine_ageing", {**OIL, "quantity": "2000", "since": "2026-07-01"})
    assert words.subject == "Lot NB7 of Olive oil is in quarantine since 1 Jul 2026"
    assert words.lines == (
        "Lot NB7 of Olive oil, 2 kg, came into quarantine on 1 Jul 2026.",
        "Release or reject it.",
    )


def test_a_price_that_jumped() -> None:
    facts = {"supplier": "Mill", "was": "4.00", "now": "5.00", "unit": "USD/kg", "percent": "25.00"}
    words = told("price_jump", {**OIL, **facts})
    assert words.subject == "Olive oil from Mill costs 25 % more"
    assert words.lines == ("Olive oil from Mill was 4.00 and is 5.00 USD a kilogram.",)
    jars = told("price_jump", {**OIL, **facts, "unit": "USD/each", "percent": "12.50"})
    assert jars.subject == "Olive oil from Mill costs 12.5 % more"
    assert jars.lines == ("Olive oil from Mill was 4.00 and is 5.00 USD a piece.",)


def test_a_deposit_that_nobody_claims() -> None:
    facts = {"supplier": "Mill", "amount": "25.00", "currency": "USD", "paid_on": "2026-05-05"}
    words = told("deposit_unclaimed", {**facts, "came_in": "NB7"})
    assert words.subject == "Mill still has a deposit of 25.00 USD"
    assert words.lines == (
        "25.00 USD was paid to Mill on 5 May 2026 for what lot NB7 came in.",
        "Give it back, and claim it.",
    )
    assert told("deposit_unclaimed", {**facts, "came_in": ""}).lines[0].endswith("on 5 May 2026.")


def test_every_kind_has_its_words() -> None:
    from ledger import alert_texts

    assert set(alert_texts._WORDS) == set(AlertKind.values)


def test_a_lot_that_is_called_back() -> None:
    facts = {**OIL, "quantity": "1500", "by": "Mill\nBench", "reason": "mould in the drum"}
    words = told("called_back", facts)
    assert words.subject == "Mill Bench calls back lot NB7 of Olive oil"
    assert words.lines == (
        "Mill Bench calls back lot NB7 of Olive oil: mould in the drum.",
        "1.5 kg of it came to you.",
        "Stop using it and what was made of it, and answer the notice with where it is now.",
    )
