"""Learned intervals kept in the process's memory: a learning is appended and never changed, so a read holds for good.

Every page of the Ready list and every entry asks for the same few records. Decoding them each time took more of the
page's time than the rest of its database work.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Iterable

from fleet.models import FitSnapshot, LearnedInterval
from fleet.upkeep.fit_records import IntervalRecord

# (model, task, setting)
RecordKey = tuple[int, str, str]
# A snapshot by number and moment: where a database was rolled back, a number comes again for another one.
_Kept = tuple[int, dt.datetime, RecordKey]

# Some 2 KiB each. A portal with more settings than this reads again now and then.
MOST_KEPT = 10_000
# Only the model record's drawing needs these, and they are the longest.
NOT_KEPT = frozenset({"candidates", "candidate_costs", "candidate_low", "candidate_high"})

_kept: dict[_Kept, IntervalRecord | None] = {}
_lock = threading.Lock()


def kept_records(snapshot: FitSnapshot | None, keys: Iterable[RecordKey]) -> dict[RecordKey, IntervalRecord]:
    """The records of these keys that there are, without their candidates; one query, or none where all are kept."""
    if snapshot is None:
        return {}
    whose = (snapshot.pk, snapshot.created_at)
    asked = {key: (*whose, key) for key in set(keys)}
    with _lock:
        found = {key: _kept[place] for key, place in asked.items() if place in _kept}
    missing = asked.keys() - found.keys()
    if missing:
        read = _read(snapshot, missing)
        found |= {key: read.get(key) for key in missing}
        with _lock:
            if len(_kept) + len(missing) > MOST_KEPT:
                _kept.clear()
            _kept.update({asked[key]: read.get(key) for key in missing})
    return {key: record for key, record in found.items() if record is not None}


def _read(snapshot: FitSnapshot, keys: Iterable[RecordKey]) -> dict[RecordKey, IntervalRecord]:
    rows = LearnedInterval.objects.filter(
        snapshot=snapshot, model__in={m for m, _t, _s in keys}, setting__in={s for _m, _t, s in keys}
    ).values_list("model_id", "task", "setting", "data")
    wanted = set(keys)
    return {
        (m, t, s): IntervalRecord.from_data({name: value for name, value in data.items() if name not in NOT_KEPT})
        for m, t, s, data in rows
        if (m, t, s) in wanted
    }
