"""What makes two ledger entries the same entry: one digest over what they record, whoever entered them and when.

A unit's entries are unique by this key, so a file imported twice adds nothing, and a file exported from here adds
nothing to the portal it came from. The unit (or, for a crew's week, the crew) is not part of the key: keys are only
ever compared among entries of one unit. Two things alike that happened twice are told apart by ``number``.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Container, Mapping
from decimal import Decimal
from typing import Any

from .words import name_key

# What each kind of entry records, by the names of its fields. Order, and fields left empty, do not matter.
RECORDED: dict[str, tuple[str, ...]] = {
    "hours": ("occurred_on", "meter_hours", "hours_run", "litres", "meter_replaced"),
    "crew_hours": ("week_of", "crew_hours", "crew_litres", "trimmer_share"),
    "move": ("occurred_on", "crew"),
    "guard": ("occurred_on", "guard", "line", "safety", "seen_by"),
    "service": (
        "occurred_on",
        "hours",
        "task",
        "as_found",
        "done",
        "part_hours",
        "done_by",
        "minutes",
        "parts_cost",
        "warranty",
    ),
    "failure": (
        "occurred_on",
        "hours",
        "component",
        "what",
        "cause",
        "found",
        "done",
        "part_hours",
        "minutes",
        "parts_cost",
        "downtime_days",
        "warranty",
        "guard_as_found",
    ),
    "retirement": ("occurred_on", "why"),
}
# Fields where no and no answer say the same, so that a form that always sends the box agrees with a blank cell.
_NO_IS_BLANK = frozenset({"meter_replaced"})
_NUMBERS = frozenset(
    {
        "meter_hours",
        "hours_run",
        "litres",
        "crew_hours",
        "crew_litres",
        "trimmer_share",
        "hours",
        "part_hours",
        "minutes",
        "parts_cost",
        "downtime_days",
    }
)


def content_key(kind: str, values: Mapping[str, Any], number: int = 1) -> int:
    """The 63-bit key of what an entry records.

    ``values`` maps field names of :data:`RECORDED` to values; other names are ignored, missing ones are empty.
    Numbers may come as Decimal, int, float or text: 10, 10.0 and "10.00" agree. ``crew`` may be a Crew or its name.
    ``number`` counts entries of one unit that are alike in everything recorded.

    >>> content_key("hours", {"occurred_on": "2025-05-01", "hours_run": 10}) == content_key(
    ...     "hours", {"occurred_on": dt.date(2025, 5, 1), "hours_run": Decimal("10.00"), "litres": None})
    True
    """
    parts = [kind]
    for name in RECORDED[kind]:
        value = values.get(name)
        if value is None or value == "" or (value is False and name in _NO_IS_BLANK):
            continue
        parts.append(f"{name}={_canonical(name, value)}")
    if number > 1:
        parts.append(f"number={number}")
    digest = hashlib.blake2b("\x1f".join(parts).encode(), digest_size=8).digest()
    return int.from_bytes(digest, "big") >> 1


def key_of(kind: str, entry: Any, number: int = 1) -> int:
    """The content key of an entry object, saved or not."""
    return content_key(kind, {name: getattr(entry, name) for name in RECORDED[kind]}, number)


def free_number(key_at: Callable[[int], int], taken: Container[int]) -> int:
    """The first number whose key is not taken: for a writer that means to record one more entry alike."""
    number = 1
    while key_at(number) in taken:
        number += 1
    return number


def _canonical(name: str, value: Any) -> str:
    if name in _NUMBERS:
        number = value if isinstance(value, Decimal) else Decimal(str(value))
        text = format(number.normalize(), "f")
        return "0" if text == "-0" else text
    if name == "crew":
        return name_key(str(getattr(value, "name", value)))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        return value.date().isoformat()
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(value)
