"""Write a simulated fleet to a folder, one CSV file for each kind of row."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

from fleet.simulation.columns import COLUMNS
from fleet.simulation.rows import Row


def write_files(files: Mapping[str, Sequence[Row]], folder: Path) -> list[Path]:
    """Write each file that has rows as UTF-8 CSV with ISO dates and decimal points; returns the paths written."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, columns in COLUMNS.items():
        rows = files.get(name)
        if not rows:
            continue
        path = folder / f"{name}.csv"
        with path.open("w", newline="", encoding="utf-8") as out:
            writer = csv.DictWriter(out, fieldnames=columns, restval="", lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        written.append(path)
    return written
