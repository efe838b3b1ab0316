"""The browser that the tests of the pages need: installed where that is permitted, or named."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.running import ROOT

SAID = "install Debian's package chromium-headless-shell"
# A package manager that keeps what it was asked for, and installs a browser.
INSTALLS = """#!/bin/sh
echo "$@" >{at}/asked
printf '#!/bin/sh\\n' >{at}/chromium-headless-shell
{chmod} +x {at}/chromium-headless-shell
"""


@pytest.fixture
def programs(tmp_path: Path) -> Path:
    """A directory of programs in which there is no browser, nor a way to one."""
    for name in ("bash", "dirname", "timeout", "sh"):
        (tmp_path / name).symlink_to(str(shutil.which(name)))
    return tmp_path


def run(programs: Path, *words: str, **environ: str) -> subprocess.CompletedProcess[str]:
    """A command that finds these programs and no others."""
    return subprocess.run(
        [programs / "bash", *words],
        cwd=ROOT,
        env={"PATH": str(programs), **environ},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


def needed(programs: Path) -> subprocess.CompletedProcess[str]:
    return run(programs, "-c", ". deploy/bootstrap.sh && need_chromium")


def script(path: Path, text: str) -> None:
    path.write_text(text)
    path.chmod(0o755)


def test_without_a_browser_it_is_said_what_to_install(programs: Path) -> None:
    missing = needed(programs)
    assert missing.returncode == 1
    assert SAID in missing.stderr
    script(programs / "chromium", "#!/bin/sh\n")
    assert needed(programs).returncode == 0


def test_the_superuser_has_it_installed(programs: Path) -> None:
    at, chmod = str(programs), str(shutil.which("chmod"))
    script(programs / "apt-get", INSTALLS.format(at=at, chmod=chmod))
    installed = needed(programs)
    if os.geteuid() == 0:
        assert installed.returncode == 0
        assert "chromium-headless-shell" in (programs / "asked").read_text()
    else:
        assert installed.returncode == 1
        assert not (programs / "asked").exists()


def test_a_build_machine_that_has_none_fails_before_any_test(programs: Path) -> None:
    script(programs / "apt-get", "#!/bin/sh\nexit 100\n")
    failed = run(programs, "deploy/test", CI="1")
    assert failed.returncode == 1
    assert SAID in failed.stderr
    assert "== " not in failed.stderr, "no step has begun"
