"""The most memory that a process and those it starts hold at once, watched from another process (Linux)."""

from __future__ import annotations

import os
import select
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

# Seconds. Asking takes the processes' own time too.
EVERY = 1.0


class Peak:
    """MiB, once the watching is over."""

    mebibytes = float("nan")


@contextmanager
def watched() -> Iterator[Peak]:
    """Watch this process: a page that two of its processes share is counted once."""
    peak = Peak()
    watcher = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.memory", str(os.getpid())],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        yield peak
    finally:
        peak.mebibytes = int(watcher.communicate("enough\n")[0]) / 1024


def _held(pid: int, without: int) -> int:
    """KiB of a process and all below it (proportional set size: a page shared by two counts half in each)."""
    total = 0
    try:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                total = int(line.split()[1])
        below = [int(c) for t in Path(f"/proc/{pid}/task").iterdir() for c in (t / "children").read_text().split()]
    except (OSError, ProcessLookupError):
        return total
    return total + sum(_held(child, without) for child in below if child != without)


def main(pid: int) -> None:
    most = 0
    # Until it is told something, or whoever asked is gone.
    while not select.select([sys.stdin], [], [], EVERY)[0]:
        most = max(most, _held(pid, os.getpid()))
    print(most)


if __name__ == "__main__":
    main(int(sys.argv[1]))
