"""What a first scan works out before there are intervals to hold it against, kept on disk until there are.

Worked out again from the ledger it would take the scan nearly twice as long; in memory it would not fit.
"""

from __future__ import annotations

import pickle
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fleet.upkeep.histories import Columns
from fleet.upkeep.learned import LearnedSet
from fleet.upkeep.refresh import Answers, read_setting, store_unless_moved
from fleet.upkeep.stored import Written
from fleet.upkeep.usage import Usage

# Three seasons of daily hours are some 8 KiB a unit, its services and failures 2 KiB.
BYTES_A_UNIT = 12 * 1024
# Of the room on the disk, no more than this part is taken.
PART_OF_DISK = 0.2


class Shelf:
    """Answers by the files they were put in; nothing of it outlives the scan."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def has_room(self, units: int) -> bool:
        return units * BYTES_A_UNIT < PART_OF_DISK * shutil.disk_usage(self.folder).free

    def put(self, unit_ids: Sequence[int], found: Answers, usages: dict[int, Usage]) -> Path:
        """Keep what flags rest on besides intervals: hours by day, services, failures, exposures."""
        h = found.histories
        # Their hours are in the lines already.
        kept = replace(h, hours=_none_of(h.hours), crew_hours=_none_of(h.crew_hours), moves=_none_of(h.moves))
        path = self.folder / str(unit_ids[0])
        with path.open("wb") as file:
            pickle.dump((list(unit_ids), kept, found.lines, found.exposure, usages), file, pickle.HIGHEST_PROTOCOL)
        return path


def store_from_shelf(path: Path, learned: LearnedSet) -> Written:
    """Work out the flags of what was put there, at these intervals, and store them."""
    with path.open("rb") as file:
        unit_ids, h, lines, exposure, usages = pickle.load(file)  # noqa: S301  written by this very scan
    setting = read_setting(h, usages=usages, learned=learned)
    written = store_unless_moved(unit_ids, Answers(h, lines, exposure, setting), "scan")
    path.unlink()
    return written


def _none_of(rows: Columns) -> Columns:
    return {name: values[:0] for name, values in rows.items()}
