"""A published set of repeated repairs goes in as units and failures files and keeps all its events.

Valve-seat replacements on 41 diesel engines, 48 events: Nelson and Doganaksoy (1989), Nelson (1995, 2003), Meeker and
Escobar (1998). Engines 328 and 402 have two events at one age each: two entries, never one, never moved apart.
"""

import csv
import datetime as dt
import io
import json
from collections import Counter
from pathlib import Path

import pytest

from fleet.models import Contractor, Failure
from fleet.models.tenancy import all_tenants
from fleet.record.exporting import export_files
from fleet.record.importing import import_files

pytestmark = pytest.mark.django_db
DATA = json.loads((Path(__file__).parents[2] / "reliability/data/c16_valve_seat_mcf.json").read_text())["data"]
ROWS = list(zip(DATA["id"], DATA["time"], DATA["status"], strict=True))
START, TODAY = dt.date(2023, 1, 1), dt.date(2026, 6, 30)
EVENTS = Counter((str(unit), time) for unit, time, status in ROWS if status == 1)


@pytest.fixture(autouse=True)
def _every_tenant():
    with all_tenants():
        yield


def table(header, rows):
    text = io.StringIO()
    csv.writer(text).writerows([header, *rows])
    return text.getvalue().encode()


def as_files(header, distinguish):
    """The set as files: age in days is the date, and the hours too; ends of observation are retirements."""
    ends = {unit: time for unit, time, status in ROWS if status == 0}
    events = [(unit, time) for unit, time, status in ROWS if status == 1]
    seen: Counter = Counter()
    rows = []
    for number, (unit, time) in enumerate(events):
        seen[unit, time] += 1
        last = distinguish(number, seen[unit, time])
        rows.append((unit, START + dt.timedelta(days=time), time, "cylinder", *last))
    return {
        "units.csv": table(
            ("unit", "maker", "model", "registered_on", "hours_at_registration", "retired_on"),
            [(u, "Ostrel", "Rook", START, 0, START + dt.timedelta(days=ends[u])) for u in sorted(ends)],
        ),
        "failures.csv": table(("unit", "date", "hours", "component", *header), rows),
    }


@pytest.mark.parametrize(
    ("header", "distinguish"),
    [
        (("event",), lambda number, nth: (number + 1,)),
        (("what",), lambda number, nth: (f"seat {nth}",)),
        (("entry",), lambda number, nth: (nth if nth > 1 else "",)),
    ],
    ids=["a column nobody reads", "what", "entry"],
)
def test_all_events_are_kept_and_come_back(header, distinguish):
    files = as_files(header, distinguish)
    report = import_files(files, contractor="Quarry Hill Grounds", today=TODAY)
    assert not report.bad, report.bad[:3]
    assert report.added == {"units.csv": 41, "failures.csv": 48}
    assert Counter((f.trimmer.tag, int(f.hours)) for f in Failure.objects.select_related("trimmer")) == EVENTS
    assert EVENTS["328", 653] == EVENTS["402", 139] == 2
    again = import_files(files, contractor="Quarry Hill Grounds", today=TODAY)
    assert again.repeated == report.added
    out = {name: content for name, content, _rows in export_files(Contractor.objects.all())}
    assert not any(import_files(out, today=TODAY).added.values())
    assert len(list(csv.DictReader(io.StringIO(out["failures.csv"].decode())))) == 48
