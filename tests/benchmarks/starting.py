"""How soon the server is ready when it has run before, and what it takes while idle."""

import shutil
import tempfile
import time
from pathlib import Path

import psutil

from tests.benchmarks.bench import Options
from tests.benchmarks.report import Row
from tests.running import Running

READY_S, IDLE_MB = 6.0, 450.0
SETTLE_S = 8


def measure(server: Running, options: Options) -> list[Row]:
    """Starts of a server of its own; the one that the other figures come from is not touched."""
    home = Path(tempfile.mkdtemp(prefix="stillroom-bench-start-"))
    try:
        Running(home).wait_ready(120).stop()
        took, used = zip(*(_warm_start(home) for _ in range(min(options.rounds, 3))), strict=True)
    finally:
        shutil.rmtree(home, ignore_errors=True)
    ready, idle = sorted(took)[len(took) // 2], sorted(used)[len(used) // 2]
    return [
        Row(
            "deploy/up, warm, until ready",
            f"{ready:.1f} s",
            target=f"<= {READY_S:.0f} s",
            met=ready <= READY_S,
        ),
        Row(
            "  memory of all it starts, idle (PSS)",
            f"{idle:.0f} MB",
            target=f"<= {IDLE_MB:.0f} MB",
            met=idle <= IDLE_MB,
        ),
    ]


def _warm_start(home: Path) -> tuple[float, float]:
    """Seconds until ready, and MB a little later."""
    began = time.perf_counter()
    server = Running(home).wait_ready()
    took = time.perf_counter() - began
    try:
        time.sleep(SETTLE_S)
        everything = [psutil.Process(server.process.pid), *server.family()]
        used = sum(process.memory_full_info().pss for process in everything)
    finally:
        server.stop()
    return took, used / 2**20
