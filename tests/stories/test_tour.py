"""The README's tour, word for word: each of its commands is run and each answer compared.

A block of commands (`sh`) is followed by a block of what they print (`text`), or prints nothing.
In an answer `…` stands for anything within a line: an id, a year. Only the port is another.
"""

import re
import subprocess
from dataclasses import dataclass

import pytest

from tests.running import ROOT, Running

README = (ROOT / "README.md").read_text()
BLOCK = re.compile(r"^```(sh|text)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
README_PORT = "127.0.0.1:8000"


@dataclass(frozen=True)
class Step:
    """Commands, and what they print."""

    commands: str
    answer: str


def tour_of(readme: str) -> list[Step]:
    """The steps of the chapter that is the tour."""
    chapter = re.split(r"^## ", readme.split("## A tour in five minutes\n")[1], flags=re.MULTILINE)
    steps: list[Step] = []
    for kind, text in BLOCK.findall(chapter[0]):
        if kind == "sh":
            steps.append(Step(text, ""))
        else:
            steps[-1] = Step(steps[-1].commands, text)
    return steps


def agrees(expected: str, printed: str) -> bool:
    """Whether what was printed is what was promised, with `…` for anything within a line."""
    pattern = re.escape(expected).replace("…", "[^\n]*")
    return re.fullmatch(pattern, printed) is not None


def run(steps: list[Step], running: Running) -> list[str]:
    """What each step prints, all run by one bash, beside the server's data."""
    mark = "----- the next step -----"
    script = "".join(f"{step.commands}echo '{mark}'\n" for step in steps)
    ran = subprocess.run(
        ["timeout", "100", "bash", "-c", script.replace(README_PORT, f"127.0.0.1:{running.port}")],
        cwd=ROOT,
        env=running.environ,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return ran.stdout.split(f"{mark}\n")


@pytest.mark.ground
def test_the_tour_works_word_for_word(server: Running) -> None:
    steps = tour_of(README)
    assert len(steps) > 12
    printed = run(steps, server)
    assert len(printed) == len(steps) + 1, printed[-1]
    for step, answer in zip(steps, printed, strict=False):
        assert agrees(step.answer, answer), f"{step.commands}\n{answer}"


def test_an_answer_that_differs_is_seen() -> None:
    assert agrees("WB…-002\n", "WB26-002\n")
    assert not agrees("WB…-002\n", "WB26-003\n")
    assert not agrees("…\n", "one\ntwo\n")
    assert not agrees("", "Traceback\n")
