"""Commands of `manage.py`, one after the other in one process that has Django loaded.

What a command line is to `manage.py` is here a line of JSON on standard input. `Commands` is its
other end. That the commands work as typed is shown where they are run by themselves
(test_commands.py, test_ground.py).
"""

import contextlib
import io
import json
import os
import subprocess
import sys
from collections.abc import Mapping
from typing import Any

from deploy.environment import ROOT


class Commands:
    """The process, started with the environment of a running server; `close()` it."""

    def __init__(self, environ: Mapping[str, str]) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.managing"],
            env=environ,
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, *words: str, **environ: str) -> subprocess.CompletedProcess[str]:
        """One command, with so much more in its environment."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps([words, environ]) + "\n")
        self.process.stdin.flush()
        return subprocess.CompletedProcess(words, *json.loads(self.process.stdout.readline()))

    def close(self) -> None:
        """End the process."""
        self.process.communicate()


def obey(words: list[str], environ: Mapping[str, str]) -> tuple[Any, str, str]:
    """The exit code of a command, and what it said."""
    from django.core.management import execute_from_command_line

    out, err = io.StringIO(), io.StringIO()
    os.environ |= environ
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            execute_from_command_line(["manage.py", *words])
        code: Any = 0
    except SystemExit as end:
        code = end.code
    finally:
        for name in environ:
            del os.environ[name]
    return code, out.getvalue(), err.getvalue()


def main() -> None:
    """Obey line after line until there is none."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    for line in sys.stdin:
        sys.stdout.write(json.dumps(obey(*json.loads(line))) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
