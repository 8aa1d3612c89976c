"""A strict reader of simulated files, written apart from the product's own: what it complains about, row by row."""

import datetime as dt
import itertools
from collections import defaultdict
from decimal import Decimal

from fleet.simulation import columns as words

VALUES = {
    "guard": {"guard": words.GUARD, "line": words.LINE, "safety": words.SAFETY, "seen_by": words.SEEN_BY},
    "services": {
        "task": words.TASKS,
        "as_found": words.AS_FOUND,
        "done": words.SERVICE_DONE,
        "done_by": words.DONE_BY,
        "warranty": ("yes", "no", None),
    },
    "failures": {
        "component": words.COMPONENTS,
        "cause": words.CAUSE,
        "found": words.FOUND,
        "done": words.FAILURE_DONE,
        "warranty": ("yes", "no", None),
        "guard_as_found": (*words.GUARD, None),
    },
    "hours": {"meter_replaced": ("yes", None)},
    "units": {"guard": words.GUARD, "retired_why": (*words.RETIRED_WHY, None)},
}
PLAIN = (str, int, float, Decimal, dt.date, type(None))
ONE_OF = ("meter_hours", "hours_run", "litres", "crew_hours", "crew_litres")


class Wearers:
    """Who wore a tag on a date."""

    def __init__(self, units):
        self.by_tag = defaultdict(list)
        for place, row in enumerate(units):
            self.by_tag[row["unit"]].append((row["registered_on"], row["retired_on"] or dt.date.max, place))

    def on(self, tag, date):
        found = [place for first, last, place in self.by_tag[tag] if first <= date <= last]
        return found[0] if len(found) == 1 else None


def complaints(files, today):
    """Everything wrong with the files, as short strings; empty for good files."""
    wrong = [f"{name}: columns {list(row)}" for name, rows in files.items() for row in rows[:1]
             if list(row) != list(words.COLUMNS[name])]  # fmt: skip
    for name, rows in files.items():
        for row in rows:
            wrong += [f"{name}: {key} is a {type(v).__name__}" for key, v in row.items() if type(v) not in PLAIN]
            wrong += [f"{name}: {key}={row[key]}" for key, known in VALUES.get(name, {}).items()
                      if row[key] not in known]  # fmt: skip
    wearers = Wearers(files["units"])
    crews = {(row["contractor"], row["crew"]) for row in files["units"]}
    for tag, spans in wearers.by_tag.items():
        spans = sorted(spans)
        wrong += [f"tag {tag} worn twice" for a, b in itertools.pairwise(spans) if a[1] >= b[0]]
    for name in ("moves", "hours", "guard", "services", "failures"):
        for row in files[name]:
            if name == "hours" and row["unit"] is None:
                wrong += [] if (row["contractor"], row["crew"]) in crews else [f"no crew {row['crew']}"]
                wrong += [] if row["week_of"].weekday() == 0 and row["week_of"] <= today else ["week_of"]
                continue
            if row["date"] > today or wearers.on(row["unit"], row["date"]) is None:
                wrong.append(f"{name}: {row['unit']} on {row['date']}")
            if name == "moves" and (row["contractor"], row["crew"]) not in crews:
                wrong.append(f"move to no crew: {row['crew']}")
    for row in files["hours"]:
        if sum(row[key] is not None for key in ONE_OF) != 1:
            wrong.append(f"hours: not one figure in {row}")
        if (row["crew_litres"] is None) != (row["trimmer_share"] is None):
            wrong.append("hours: a can needs its share")
    return wrong + _hours_complaints(files, wearers)


def _hours_complaints(files, wearers):
    """Totals that fall or rise faster than the clock, per unit; a new meter starts a new count."""
    wrong = []
    totals, meters = defaultdict(list), defaultdict(list)
    for place, row in enumerate(files["units"]):
        totals[place].append((row["registered_on"], row["hours_at_registration"]))
    changed = {}
    for row in files["hours"]:
        if row["meter_replaced"] == "yes":
            changed[wearers.on(row["unit"], row["date"])] = row["date"]
            meters[wearers.on(row["unit"], row["date"])].append((row["date"], row["meter_hours"]))
    for row in files["hours"]:
        place = row["unit"] and wearers.on(row["unit"], row["date"])
        if row["meter_hours"] is not None and row["meter_replaced"] is None:
            later = place in changed and row["date"] >= changed[place]
            (meters if later else totals)[place].append((row["date"], row["meter_hours"]))
        if row["hours_run"] is not None and not 0 <= row["hours_run"] <= 24:
            wrong.append(f"hours_run {row['hours_run']}")
    for name in ("services", "failures"):
        for row in files[name]:
            if row["hours"] is not None:
                totals[wearers.on(row["unit"], row["date"])].append((row["date"], row["hours"]))
    for kind in (totals, meters):
        for place, readings in kind.items():
            readings.sort()
            for (a, low), (b, high) in itertools.pairwise(readings):
                if not 0 <= high - low <= 24 * max(0, (b - a).days) + 1e-9:
                    wrong.append(f"unit {place}: {low} on {a}, then {high} on {b}")
    return wrong
