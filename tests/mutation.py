"""`python -m tests.mutation [NAME …]`: how many changes the tests noticed, file by file."""

import json
import sys
from collections import Counter
from fnmatch import fnmatch
from pathlib import Path

LEAST = 85
# The exit codes of the test run that a changed place was given.
LIVED, NEVER_RUN = 0, 33
# Noticed because the tests took too long, which they do on a busy machine as well.
TOO_LONG = {24, -24, 36, 152, 255}


def main(wanted: list[str]) -> int:
    """Print the table and what lived; 1 if a file is below the least."""
    poor = False
    for kept in sorted(Path("mutants").glob("*/*.meta")):
        codes: dict[str, int | None] = json.loads(kept.read_text())["exit_code_by_key"]
        asked = {
            name: code
            for name, code in codes.items()
            if code is not None and (not wanted or any(fnmatch(name, each) for each in wanted))
        }
        if not asked:
            continue
        told = Counter(
            "lived" if code in (LIVED, NEVER_RUN) else "noticed" for code in asked.values()
        )
        share = 100 * told["noticed"] / len(asked)
        poor |= share < LEAST
        file = kept.relative_to("mutants").with_suffix("")
        sys.stdout.write(f"{file!s:32}{told['noticed']:6} of {len(asked):5}  {share:5.1f} %\n")
        for name, code in asked.items():
            if code in (LIVED, NEVER_RUN) or code in TOO_LONG:
                sys.stdout.write(f"    {name}{'  took too long' * (code in TOO_LONG)}\n")
    return int(poor)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
