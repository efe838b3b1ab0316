"""A program that hears of a maker's alerts: one that is not there yet."""

from typing import Final

from formulas.demo.bench import Bench
from ledger.receivers import add_receiver

# Names that end so belong to nobody (RFC 2606): nothing is ever sent to anybody's server.
ADDRESS: Final = "https://stock.north-bench.example/alerts"


def program_told(bench: Bench) -> None:
    """From now on, a program is told of what opens and closes."""
    bench.does(add_receiver, webhook=ADDRESS)
