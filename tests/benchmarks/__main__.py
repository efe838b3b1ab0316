"""`python -m tests.benchmarks [--quick] [NAME …]`: measure and print the table."""

import argparse
import sys
from collections.abc import Callable

from tests.benchmarks import (
    history,
    issuing,
    listing,
    mailing,
    order_rounds,
    ordering,
    pages,
    planning,
    posting,
    recalling,
    rolling,
    starting,
    sweeping,
    weighing,
)
from tests.benchmarks.bench import Options, running
from tests.benchmarks.report import Row, say, table
from tests.running import Running

Part = Callable[[Running, Options], list[Row]]
PARTS: dict[str, Part] = {
    "post": posting.measure,
    "issue": issuing.measure,
    "weighing": weighing.measure,
    "planning": planning.measure,
    "lots": listing.measure,
    "history": history.measure,
    "recall": recalling.measure,
    "what-if": rolling.measure,
    "ordering": lambda *asked: [*ordering.measure(*asked), *order_rounds.measure(*asked)],
    "sweep": sweeping.measure,
    "mail": mailing.measure,
    "start": starting.measure,
    # Last, since it brings the demo in.
    "pages": pages.measure,
}


def main() -> int:
    """Measure the parts that are named, or all; the exit code tells whether all targets are met."""
    parser = argparse.ArgumentParser(prog="deploy/bench", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="shorter and fewer rounds")
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(PARTS))
    given = parser.parse_args()
    unknown = set(given.names) - set(PARTS)
    if unknown:
        parser.error(f"there is no {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    options = Options.quick() if given.quick else Options()
    rows: list[Row] = []
    with running() as server:
        for name, part in PARTS.items():
            if not given.names or name in given.names:
                say(f"measuring {name} …")
                rows += part(server, options)
    sys.stdout.write(table(rows) + "\n")
    return int(any(row.met is False for row in rows))


if __name__ == "__main__":
    sys.exit(main())
