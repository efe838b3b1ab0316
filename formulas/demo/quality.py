"""What the demo's first maker has tested: its water, and a surfactant against its limits."""

from decimal import Decimal
from functools import partial
from typing import Final

from formulas.demo.bench import Bench
from formulas.demo.incidents import Incident
from ledger.limits import Limit
from ledger.retesting import Found, record_results, specify
from ledger.source_tests import record_source_test

TAP: Final = "tap in the workroom, after the filter"
ASKED: Final = (
    Limit("Active matter", Decimal(51), Decimal(55), "%"),
    Limit("pH, 10 % in water", Decimal("11.5"), Decimal("12.5")),
    Limit("Appearance", text="clear, pale yellow"),
)


def water_tested(result: str, passed: bool, bench: Bench, days_ago: int) -> None:
    """The water of the workroom, by a laboratory nearby."""
    bench.does(
        record_source_test,
        material=bench.materials["water"],
        source=TAP,
        tested_on=bench.day(days_ago),
        result=result,
        passed=passed,
        today=bench.day(days_ago),
    )


def glucoside_specified(bench: Bench, days_ago: int) -> None:
    """What a lot of decyl glucoside must keep from now on."""
    bench.does(specify, material=bench.materials["decyl"], limits=ASKED)


def glucoside_tested(bench: Bench, days_ago: int) -> None:
    """The last lot keeps it, as its certificate and our own meter say."""
    bench.does(
        record_results,
        lot=bench.lots["decyl"][-1].id,
        found=[
            Found("Active matter", Decimal("52.4"), unit="%"),
            Found("pH, 10 % in water", Decimal("11.8")),
            Found("Appearance", text="clear, pale yellow"),
        ],
        tested_on=bench.day(days_ago),
        today=bench.day(days_ago),
    )


QUALITY: Final = (
    Incident(83, "north", partial(water_tested, "12 cfu/mL; hardness 9 dH", True)),
    Incident(53, "north", partial(water_tested, "340 cfu/mL; the filter was overdue", False)),
    Incident(51, "north", partial(water_tested, "8 cfu/mL, with a new filter", True)),
    Incident(22, "north", partial(water_tested, "15 cfu/mL; hardness 9 dH", True)),
    Incident(49, "north", glucoside_specified),
    Incident(48, "north", glucoside_tested),
)
