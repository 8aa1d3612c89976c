"""What is said each night is kept as it was said, once, and held against the ledger when its days are over."""

from __future__ import annotations

import datetime as dt
import io
import json
import math
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from scipy.stats import weibull_min

from fleet.models import AppendOnlyError, Forecast
from fleet.record.hours import HoursLine, record_hours
from fleet.record.units import retire_unit
from fleet.record.work import Broken, record_failure
from fleet.upkeep.fit_store import add_fits
from fleet.upkeep.forecasts import DAYS, LONG_DAYS, SPEAKERS, failure_chance, record_forecasts
from fleet.upkeep.outcomes import CANNOT_TELL, DID_NOT, HAPPENED, LEFT, OPEN, Record, counts, settle, settle_forecasts
from fleet.upkeep.sample_packs import fitted_share
from fleet.upkeep.scan import scan
from tests.factories import make_fit
from tests.fleet.upkeep.conftest import CREW, MONDAY, SHOP, Yard

pytestmark = pytest.mark.django_db
SAID = dt.date(2025, 5, 30)
UNTIL = SAID + dt.timedelta(days=DAYS)
LATER = dt.date(2025, 12, 31)


def days(n: int) -> dt.date:
    return SAID + dt.timedelta(days=n)


def read_meter(yard: Yard, unit, on: dt.date, hours: float) -> None:  # type: ignore[no-untyped-def]
    line = HoursLine(unit, on, meter_hours=Decimal(str(hours)))
    record_hours(lines=[line], by=CREW, today=LATER, confirmed=True)


def learn(yard: Yard, *components: str) -> None:
    """Fits of the yard's model as a scan of that day would leave them: shape 2, scale 60, guard ratio 2.1."""
    fits = {(yard.model.pk, c): make_fit(c, clock="task" if c in ("gearbox", "exhaust") else "age") for c in components}
    add_fits(as_of=SAID, content_key="made for a test", data={}, fits=fits, intervals={})


def said(kind: str, subject: str, length: int = DAYS) -> Forecast:
    return Forecast.objects.get(kind=kind, subject=subject, days=length)


# -- what is said -------------------------------------------------------------------------------------------------


def test_a_component_fails_as_its_weibull_says(yard: Yard) -> None:
    """Against scipy's conditional survival, at the hours the unit will have run by then."""
    unit = yard.unit(on=MONDAY)
    read_meter(yard, unit, SAID, 40)
    learn(yard, "gearbox", "clutch")
    record_forecasts([yard.contractor], as_of=SAID)
    rate = yard.hours(unit).day_rate
    for length, working_days in ((DAYS, 20), (LONG_DAYS, 64)):
        row = said("failure", "clutch", length)
        begin, end = 40.0, 40.0 + working_days * rate
        life = weibull_min(2.0, scale=60.0)
        exposure = yard.hours(unit).guard_off
        alive = (life.sf(end) / life.sf(begin)) ** (2.1**exposure)
        assert row.probability == pytest.approx(1 - alive, rel=0.03)
        assert (row.said_on, row.until) == (SAID, SAID + dt.timedelta(days=length))
        assert row.fits is not None
        assert row.usage_version == 1
    # A component that nothing is known of is not spoken of.
    assert set(Forecast.objects.filter(kind="failure").values_list("subject", flat=True)) == {"clutch", "gearbox"}


def test_the_task_clock_starts_at_the_task(yard: Yard) -> None:
    served, never = yard.unit("QH-1"), yard.unit("QH-2")
    old = yard.unit("QH-3", hours_at_registration=Decimal(80))
    for unit in (served, never):
        read_meter(yard, unit, days(-1), 40)
    read_meter(yard, old, days(-1), 120)
    yard.serve(served, "grease", days(-1), done="serviced")
    learn(yard, "gearbox")
    record_forecasts([yard.contractor], as_of=SAID)
    chance = dict(Forecast.objects.filter(kind="failure", days=DAYS).values_list("trimmer", "probability"))
    assert chance[served.pk] < chance[never.pk]
    # When it was last greased nobody knows.
    assert old.pk not in chance


def test_a_broken_part_and_a_passed_task_are_not_foretold(yard: Yard) -> None:
    broken, whole = yard.unit("QH-1"), yard.unit("QH-2")
    for unit in (broken, whole):
        read_meter(yard, unit, days(-1), 40)
    yard.fail(broken, "clutch", days(-1), done="")
    learn(yard, "clutch")
    record_forecasts([yard.contractor], as_of=SAID)
    assert set(Forecast.objects.filter(subject="clutch", kind="failure").values_list("trimmer", flat=True)) == {
        whole.pk
    }
    hours = yard.hours(whole).hours
    for row in Forecast.objects.filter(kind="due"):
        assert row.target_hours is not None
        assert row.target_hours > hours
        job = yard.job(whole, row.subject, SAID, before=UNTIL) if row.probability >= 0.5 else None
        if job is not None and job.flag.due_date is None:
            assert row.probability == pytest.approx(job.probability_by, abs=1e-3)


def test_chance_keeps_to_its_limits() -> None:
    assert failure_chance(2.0, 60.0, 2.0, 10.0, 0.0, 0.5) == 0.0
    assert failure_chance(2.0, 60.0, 2.0, 10.0, 1e6, 0.5) == 1.0
    one, two = failure_chance(1.5, 50.0, 3.0, 20.0, 5.0, 1.0), failure_chance(1.5, 50.0, 3.0, 25.0, 5.0, 1.0)
    both = failure_chance(1.5, 50.0, 3.0, 20.0, 10.0, 1.0)
    assert 1 - both == pytest.approx((1 - one) * (1 - two))


# -- kept as said -------------------------------------------------------------------------------------------------


def test_a_scan_speaks_once_and_again_when_its_days_are_over(yard: Yard) -> None:
    unit = yard.unit()
    read_meter(yard, unit, SAID, 40)
    learn(yard, "clutch")
    first = scan([yard.contractor], as_of=SAID, today=SAID, learn=False)
    assert first.forecasts == Forecast.objects.count() > 3
    assert scan([yard.contractor], as_of=SAID, today=SAID, learn=False).forecasts == 0
    assert record_forecasts([yard.contractor], as_of=days(DAYS - 1)) == 0
    again = record_forecasts([yard.contractor], as_of=UNTIL)
    assert again > 0
    # The quarter it spoke of still runs.
    assert Forecast.objects.filter(days=LONG_DAYS).count() == 1
    record_forecasts([yard.contractor], as_of=days(2 * DAYS))
    record_forecasts([yard.contractor], as_of=days(LONG_DAYS))
    assert Forecast.objects.filter(days=LONG_DAYS).count() == 2


def test_looking_back_keeps_nothing_that_nobody_said(yard: Yard) -> None:
    read_meter(yard, yard.unit(), SAID, 40)
    report = scan([yard.contractor], as_of=days(-3), today=SAID, learn=False)
    assert (report.forecasts, Forecast.objects.count()) == (0, 0)


def test_only_what_was_known_that_day_is_said(yard: Yard) -> None:
    unit = yard.unit()
    read_meter(yard, unit, SAID, 40)
    learn(yard, "clutch")
    yard.fail(unit, "clutch", days(5), done="")
    yard.unit("QH-2", on=days(6))
    record_forecasts([yard.contractor], as_of=SAID)
    assert said("failure", "clutch").probability < 0.9
    assert set(Forecast.objects.values_list("trimmer", flat=True)) == {unit.pk}
    record_forecasts([yard.contractor], as_of=SAID - dt.timedelta(days=40))
    assert not Forecast.objects.filter(kind="failure", said_on__lt=SAID).exists()


def test_statements_are_never_changed_or_deleted(yard: Yard) -> None:
    read_meter(yard, yard.unit(), SAID, 40)
    record_forecasts([yard.contractor], as_of=SAID)
    row = Forecast.objects.first()
    assert row is not None
    row.probability = 0.5
    with pytest.raises(AppendOnlyError):
        row.save()
    with pytest.raises(AppendOnlyError):
        row.delete()
    for change in (
        lambda: Forecast.objects.update(probability=0.5),
        lambda: Forecast.objects.filter(pk=row.pk).delete(),
        lambda: Forecast.objects.bulk_update([row], ["probability"]),
    ):
        with pytest.raises(AppendOnlyError):
            change()
    twin = {name: getattr(row, name) for name in ("contractor_id", "trimmer_id", "kind", "subject", "days", "said_on")}
    with pytest.raises(IntegrityError), transaction.atomic():
        Forecast.objects.create(**twin, until=row.until, probability=0.2, usage_version=1)
    assert not math.isclose(Forecast.objects.get(pk=row.pk).probability, 0.5, abs_tol=1e-9)


def test_a_fixed_part_of_a_large_portal_speaks_for_all() -> None:
    assert fitted_share(SPEAKERS, SPEAKERS) == 1.0
    for units in (SPEAKERS + 1, 6_000, 100_000):
        speaking = units * fitted_share(units, SPEAKERS)
        assert SPEAKERS / 2 <= speaking <= SPEAKERS


def test_queries_do_not_grow_with_units(yard: Yard) -> None:
    learn(yard, "clutch", "gearbox", "exhaust")

    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert record_forecasts([yard.contractor], as_of=SAID) > 0
        return len(caught)

    for tag in ("A", "B"):
        yard.unit(tag)
    few = queries()
    for number in range(60):
        yard.unit(f"C-{number}")
    assert queries() == few


# -- what became of it ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("record", "outcome"),
    [
        (Record(days(60)), DID_NOT),
        (Record(days(29)), OPEN),
        (Record(days(60), passed_on=days(30)), HAPPENED),
        (Record(days(60), passed_on=days(31)), DID_NOT),
        (Record(days(60), failures=((days(10), days(10)),)), HAPPENED),
        (Record(days(60), failures=((days(0), days(0)),)), DID_NOT),
        (Record(days(60), failures=((days(31), days(31)),)), DID_NOT),
        (Record(days(60), failures=((days(2), days(9)),)), HAPPENED),
        (Record(days(60), failures=((days(-2), days(9)),)), CANNOT_TELL),
        (Record(days(60), failures=((days(20), days(40)),)), CANNOT_TELL),
        (Record(days(60), failures=((days(30), days(40)),)), DID_NOT),
        (Record(days(12), left_on=days(12)), LEFT),
        (Record(days(60), left_on=days(31)), DID_NOT),
        (Record(days(12), left_on=days(12), failures=((days(12), days(12)),)), HAPPENED),
        (Record(days(60), left_on=days(12), failures=((days(20), days(20)),)), LEFT),
    ],
)
def test_settled_by_what_the_ledger_says(record: Record, outcome: str) -> None:
    assert settle(SAID, UNTIL, record, LATER) == outcome
    # Nothing is settled before its days are over, or what happened early would count before what did not.
    assert settle(SAID, UNTIL, record, days(29)) == OPEN


def test_a_small_fleet_with_a_known_history(yard: Yard) -> None:
    tags = ("failed", "whole", "sold", "serviced", "silent", "looked")
    fleet = {tag: yard.unit(tag) for tag in tags}
    for unit in fleet.values():
        read_meter(yard, unit, SAID, 40)
    yard.serve(fleet["looked"], "arrestor", SAID, "ok")
    learn(yard, "clutch", "gearbox", "exhaust")
    record_forecasts([yard.contractor], as_of=SAID)
    failed = Broken(fleet["failed"], "clutch", days(8), done="repaired")
    record_failure(broken=failed, by=SHOP, today=LATER)
    yard.serve(fleet["serviced"], "grease", days(9), done="serviced")
    yard.serve(fleet["looked"], "arrestor", days(20), "blocked", done="serviced")
    retire_unit(unit=fleet["sold"], on=days(10), why="sold", by=CREW, today=LATER)
    for tag, hours in (("failed", 60), ("whole", 41), ("serviced", 60), ("looked", 60)):
        read_meter(yard, fleet[tag], days(35), hours)
    names = {unit.pk: tag for tag, unit in fleet.items()}
    told = {(names[f.trimmer_id], f.kind, f.subject): f for f in Forecast.objects.filter(days=DAYS)}
    outcome = {key: next(iter(_one(yard, f, days(40)))).outcome for key, f in told.items() if key[1] == "failure"}
    assert outcome["failed", "failure", "clutch"] == HAPPENED
    assert outcome["whole", "failure", "clutch"] == DID_NOT
    assert outcome["sold", "failure", "clutch"] == LEFT
    assert outcome["silent", "failure", "clutch"] == OPEN
    # Greased: the gearbox is on a new cycle, the clutch is the one it was.
    assert outcome["serviced", "failure", "gearbox"] == LEFT
    assert outcome["serviced", "failure", "clutch"] == DID_NOT
    assert outcome["looked", "failure", "exhaust"] == HAPPENED
    due = [f for key, f in told.items() if key[0] == "failed" and f.kind == "due"]
    for f in due:
        assert f.target_hours is not None
        expected = HAPPENED if f.target_hours < 57 else DID_NOT if f.target_hours > 60 else None
        found = _one(yard, f, days(40))[0].outcome
        assert expected in (None, found)
    settled = list(settle_forecasts([yard.contractor.pk], as_of=days(40)))
    assert len(settled) == Forecast.objects.count()
    table = counts(settled)
    assert sum(c.said for c in table) == len(settled)
    for c in table:
        assert c.said == c.settled + c.left + c.cannot_tell + c.open
        assert c.low * c.settled <= c.expected <= c.high * c.settled + 1e-9
        assert c.happened <= c.settled
    # A day before the horizon nobody knows.
    early = settle_forecasts([yard.contractor.pk], as_of=days(DAYS - 1))
    assert {s.outcome for s in early} == {OPEN}


def _one(yard: Yard, f: Forecast, as_of: dt.date) -> list:
    others = settle_forecasts([yard.contractor.pk], as_of=as_of)
    mine = list(
        Forecast.objects.filter(contractor=yard.contractor)
        .order_by("trimmer_id", "said_on", "pk")
        .values_list("pk", flat=True)
    )
    return [s for pk, s in zip(mine, others, strict=True) if pk == f.pk]


def test_the_command_counts(yard: Yard) -> None:
    read_meter(yard, yard.unit(), SAID, 40)
    out = io.StringIO()
    call_command("forecasts", stdout=out)
    assert "Nothing was said yet" in out.getvalue()
    record_forecasts([yard.contractor], as_of=SAID)
    out = io.StringIO()
    call_command("forecasts", "--as-of", SAID.isoformat(), "--format", "json", stdout=out)
    rows = json.loads(out.getvalue())
    assert sum(row["said"] for row in rows) == sum(row["open"] for row in rows) == Forecast.objects.count()
