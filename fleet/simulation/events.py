"""What happened, kept as columns while a history runs: services, failures, guard checks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

SERVICE_FIELDS = ("day", "unit", "task", "as_found", "done", "by", "priced")
FAILURE_FIELDS = ("day", "unit", "component", "at_look", "done", "part_hours", "downtime", "guard", "off", "stale")
GUARD_FIELDS = ("day", "unit", "guard", "line", "safety", "by")


class Columns:
    """Grows by whole arrays; every field of one ``add`` has the same length or is one value for all of it."""

    def __init__(self, fields: Sequence[str]) -> None:
        self._fields = tuple(fields)
        self._parts: list[list[NDArray]] = []

    def add(self, **values: ArrayLike) -> None:
        """Append rows. All fields must be given."""
        length = max(np.size(values[name]) for name in self._fields)
        if all(np.size(values[name]) for name in self._fields):
            self._parts.append([np.broadcast_to(values[name], (length,)) for name in self._fields])

    def arrays(self) -> dict[str, NDArray]:
        """One array per field, in the order the rows were added."""
        if not self._parts:
            return {name: np.zeros(0, dtype=int) for name in self._fields}
        columns = zip(*self._parts, strict=True)
        return {name: np.concatenate(parts) for name, parts in zip(self._fields, columns, strict=True)}


class EventLog:
    """The three kinds of event a history leaves behind; hours are derived from day and unit later."""

    def __init__(self) -> None:
        self.services = Columns(SERVICE_FIELDS)
        self.failures = Columns(FAILURE_FIELDS)
        self.guard = Columns(GUARD_FIELDS)
