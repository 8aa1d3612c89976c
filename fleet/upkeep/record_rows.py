"""The model record as rows for files and commands, with the keys of its JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fleet.models import FitSnapshot
from fleet.upkeep.fit_records import FitRecord
from fleet.upkeep.fit_store import model_records
from fleet.vocabulary import COMPONENTS

COLUMNS = (
    "model", "component", "events", "rows", "shape", "shape_low", "shape_high", "scale", "scale_low", "scale_high",
    "drawn", "b10_hours", "mean_hours", "guard_off_ratio", "guard_off_low", "guard_off_high", "interval_hours",
    "manual_hours",
)  # fmt: skip
_DIGITS = {
    "shape": 3, "shape_low": 3, "shape_high": 3, "scale": 1, "scale_low": 1, "scale_high": 1, "drawn": 3,
    "b10_hours": 1, "mean_hours": 1, "guard_off_ratio": 3, "guard_off_low": 3, "guard_off_high": 3,
    "interval_hours": 1, "manual_hours": 1,
}  # fmt: skip


def record_rows(
    snapshot: FitSnapshot | None, model_ids: Iterable[int], component: str | None = None
) -> list[dict[str, Any]]:
    """A row for each model and component, as whoever runs the portal sees it: with all counts; unknown is None."""
    place = {key: number for number, key in enumerate(COMPONENTS)}
    return [
        _row(record.name, fit)
        for record in model_records(snapshot, model_ids)
        for key, fit in sorted(record.fits.items(), key=lambda item: place[item[0]])
        if component is None or key == component
    ]


def _row(model: str, fit: FitRecord) -> dict[str, Any]:
    figures = {
        name: None if (value := getattr(fit, name)) is None else round(value, digits)
        for name, digits in _DIGITS.items()
    }
    row = {"model": model, "component": fit.component, "events": fit.events, "rows": fit.rows, **figures}
    return {name: row[name] for name in COLUMNS}
