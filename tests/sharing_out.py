"""How the tests are shared out among several workers: the longest first, a file to one of them.

What a file's tests stand on is then made once. Files that stand on the same go together, and a
file whose every test is long enough, and alone, is taken apart.
"""

from xdist.scheduler import LoadScopeScheduling

# Some read or mark whatever there is in the database, and are quick before others have filled it.
# Whoever began one of the rest last would be waited for.
LONGEST = (
    "tests/test_walls_texts.py",
    "tests/test_walls_names.py",
    "tests/pages/test_marked.py",
    "tests/browser/",
    "tests/stateful/",
    "tests/test_migrations.py",
    "tests/stories/test_demo.py",
    "tests/races/test_thousand_alerts.py",
    "tests/test_ground.py",
    "tests/races/",
    "tests/pages/test_everybody.py",
    "tests/pages/test_demo_pages.py",
)
TOGETHER = ("tests/stateful/", "tests/browser/")
APART = ("tests/test_schema_fuzz.py",)


def place(nodeid: str) -> int:
    """Where a test stands in the order: among the longest, before or after all others."""
    found = (at for at, start in enumerate(LONGEST) if nodeid.startswith(start))
    return next(found, len(LONGEST) + nodeid.startswith(APART))


class SharingOut(LoadScopeScheduling):  # type: ignore[misc]
    """Gives each worker a file at a time."""

    def _split_scope(self, nodeid: str) -> str:
        if nodeid.startswith(APART):
            return nodeid
        together = (start for start in TOGETHER if nodeid.startswith(start))
        return next(together, nodeid.partition("::")[0])
