"""Reading and adding what scans learned from all fleets together, by date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping

from django.db import transaction
from django.utils import timezone

from fleet.models import FitSnapshot, LearnedInterval, ModelFit, TrimmerModel
from fleet.upkeep.fit_records import FitRecord, IntervalRecord, ModelRecord
from fleet.vocabulary import COMPONENTS, TASK_KEYS

IntervalKey = tuple[int, str, str]


def latest_fits(as_of: dt.date | None = None) -> FitSnapshot | None:
    """The latest learning, of then or before; its ``data`` is long, and read once it is asked for."""
    snapshots = FitSnapshot.objects.defer("data")
    if as_of is not None:
        snapshots = snapshots.filter(as_of__lte=as_of)
    return snapshots.order_by("-as_of", "-version").first()


def latest_number() -> int | None:
    """The number of the latest learning's row, without the row."""
    return FitSnapshot.objects.order_by("-as_of", "-version").values_list("pk", flat=True).first()


def fits_in_force() -> FitSnapshot | None:
    """The latest learning that every flag was brought up to."""
    return FitSnapshot.objects.filter(in_force_since__isnull=False).order_by("-as_of", "-version").first()


def put_in_force(snapshot: FitSnapshot) -> None:
    """Every flag was brought up to this learning."""
    FitSnapshot.objects.filter(pk=snapshot.pk, in_force_since__isnull=True).update(in_force_since=timezone.now())


def read_fits(
    snapshot: FitSnapshot | None, model_ids: Iterable[int] | None = None, component: str | None = None
) -> dict[tuple[int, str], FitRecord]:
    """Fits by (model, component), in the order of models and of the trade's list of components; one query."""
    if snapshot is None:
        return {}
    rows = ModelFit.objects.filter(snapshot=snapshot)
    if model_ids is not None:
        rows = rows.filter(model__in=list(model_ids))
    if component is not None:
        rows = rows.filter(component=component)
    found = {(m, c): FitRecord.from_data(data) for m, c, data in rows.values_list("model_id", "component", "data")}
    place = {key: number for number, key in enumerate(COMPONENTS)}
    return dict(sorted(found.items(), key=lambda item: (item[0][0], place[item[0][1]])))


def read_intervals(
    snapshot: FitSnapshot | None, model_ids: Iterable[int], settings: Iterable[str] | None = None
) -> dict[IntervalKey, IntervalRecord]:
    """Intervals by (model, task, setting); one query."""
    if snapshot is None:
        return {}
    rows = LearnedInterval.objects.filter(snapshot=snapshot, model__in=list(model_ids))
    if settings is not None:
        rows = rows.filter(setting__in=list(settings))
    return {
        (m, t, s): IntervalRecord.from_data(data)
        for m, t, s, data in rows.values_list("model_id", "task", "setting", "data")
    }


def model_records(
    snapshot: FitSnapshot | None, model_ids: Iterable[int], settings: Mapping[tuple[int, str], str] | None = None
) -> list[ModelRecord]:
    """Fits and intervals of these models by name; ``settings`` gives the digest to show for each (model, task)."""
    ids = sorted(set(model_ids))
    fits, wanted = read_fits(snapshot, ids), settings or {}
    intervals = read_intervals(snapshot, ids, set(wanted.values())) if wanted else {}
    names = {m.pk: str(m) for m in TrimmerModel.objects.filter(pk__in=ids)}
    records = []
    for pk in sorted(ids, key=lambda pk: (names.get(pk, ""), pk)):
        mine = {c: fit for (m, c), fit in fits.items() if m == pk}
        tasks = {
            task: intervals[pk, task, wanted[pk, task]]
            for task in TASK_KEYS
            if (pk, task) in wanted and (pk, task, wanted[pk, task]) in intervals
        }
        records.append(ModelRecord(pk, names.get(pk, ""), mine, tasks))
    return records


def add_fits(
    *,
    as_of: dt.date,
    content_key: str,
    data: Mapping[str, object],
    fits: Mapping[tuple[int, str], FitRecord],
    intervals: Mapping[IntervalKey, IntervalRecord],
) -> FitSnapshot:
    """Keep one learning: appended, never changed."""
    with transaction.atomic():
        newest = FitSnapshot.objects.select_for_update().order_by("-version").values_list("version", flat=True).first()
        snapshot = FitSnapshot.objects.create(
            as_of=as_of, version=(newest or 0) + 1, content_key=content_key, data=dict(data)
        )
        ModelFit.objects.bulk_create(
            [ModelFit(snapshot=snapshot, model_id=m, component=c, data=f.as_data()) for (m, c), f in fits.items()],
            batch_size=500,
        )
        LearnedInterval.objects.bulk_create(
            [
                LearnedInterval(snapshot=snapshot, model_id=m, task=t, setting=s, data=i.as_data())
                for (m, t, s), i in intervals.items()
            ],
            batch_size=500,
        )
    return snapshot
