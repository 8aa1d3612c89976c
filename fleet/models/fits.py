"""What scans learned from all fleets together: derived, kept by date, and rebuilt by ``manage.py scan --as-of DATE``.

Fits and intervals are portal-wide aggregates. What can be traced to one contractor (its rows for the fits, its own
counts) stands in ``FleetSample``, which only that contractor's people read.
"""

from __future__ import annotations

from django.db import models

from fleet.models.catalog import TrimmerModel
from fleet.models.people import Contractor
from fleet.models.tenancy import TenantManager


class FitSnapshot(models.Model):
    """One learning from everything the ledger said on a day. ``data`` holds what belongs to no single model: costs.

    ``content_key`` is a digest of all that went in: a scan that would put in the same learns nothing again.
    ``in_force_since`` is when every flag was brought up to it; empty where that was cut short, or where it is of an
    earlier day.
    """

    as_of = models.DateField()
    version = models.PositiveIntegerField(unique=True)
    content_key = models.CharField(max_length=64)
    data = models.JSONField(default=dict)
    created_at = models.DateTimeField(auto_now_add=True)
    in_force_since = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["as_of", "version"], name="fitsnapshot_as_of")]

    def __str__(self) -> str:
        return f"{self.as_of} v{self.version}"


class ModelFit(models.Model):
    """The record of one component of one model: ``fleet.upkeep.fit_records.FitRecord`` as JSON."""

    snapshot = models.ForeignKey(FitSnapshot, on_delete=models.CASCADE, related_name="fits", db_index=False)
    model = models.ForeignKey(TrimmerModel, on_delete=models.CASCADE, related_name="+", db_index=False)
    component = models.CharField(max_length=12)
    data = models.JSONField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["snapshot", "model", "component"], name="model_fit_once")]

    def __str__(self) -> str:
        return f"{self.model_id} {self.component}"


class LearnedInterval(models.Model):
    """A task's interval on one model under one setting: ``fleet.upkeep.fit_records.IntervalRecord`` as JSON.

    ``setting`` is a digest of the manual's interval, costs, risk limit and gate it was worked out for, so that
    contractors with the same figures share a row and none can be told from it.
    """

    snapshot = models.ForeignKey(FitSnapshot, on_delete=models.CASCADE, related_name="intervals", db_index=False)
    model = models.ForeignKey(TrimmerModel, on_delete=models.CASCADE, related_name="+", db_index=False)
    task = models.CharField(max_length=12)
    setting = models.CharField(max_length=32)
    data = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["snapshot", "model", "task", "setting"], name="learned_interval_once")
        ]

    def __str__(self) -> str:
        return f"{self.model_id} {self.task}"


class FleetSample(models.Model):
    """One contractor's rows for the fits, packed, as its last scan found them, and its own counts.

    ``counts`` is {model: {component: [failures, rows, hours]}}.
    """

    contractor = models.OneToOneField(
        Contractor, primary_key=True, on_delete=models.CASCADE, related_name="fleet_sample"
    )
    content_key = models.CharField(max_length=64)
    rows = models.BinaryField()
    counts = models.JSONField(default=dict)
    taken_at = models.DateTimeField(auto_now=True)

    objects = TenantManager()

    def __str__(self) -> str:
        return f"{self.contractor_id}"
