"""Answers worked out from the ledger. All of it can be thrown away and rebuilt by ``manage.py scan``."""

from __future__ import annotations

from django.db import models

from fleet.models.people import Contractor
from fleet.models.tenancy import TenantManager
from fleet.models.trimmers import Trimmer


class Snapshot(models.Model):
    """What a scan learned and entries use until the next one: usage rates, season profile, noise, reporter bias."""

    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="snapshots")
    as_of = models.DateField()
    version = models.PositiveIntegerField()
    data = models.JSONField()
    created_at = models.DateTimeField(auto_now_add=True)

    objects = TenantManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["contractor", "version"], name="snapshot_version")]
        indexes = [models.Index(fields=["contractor", "as_of", "version"], name="snapshot_as_of")]

    def __str__(self) -> str:
        return f"{self.contractor} {self.as_of} v{self.version}"


class UnitState(models.Model):
    """Hours of one unit up to its last entry, and what is needed to carry them forward to any later day.

    Hours are engine hours; ``known_until`` is the day up to which entries speak; from there the usual rate runs.
    """

    trimmer = models.OneToOneField(Trimmer, primary_key=True, on_delete=models.CASCADE, related_name="state")
    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="+")
    crew = models.ForeignKey("fleet.Crew", null=True, on_delete=models.SET_NULL, related_name="+")
    ledger_version = models.PositiveIntegerField()
    in_use = models.BooleanField()
    known_until = models.DateField()
    hours = models.FloatField()
    # Variance of ``hours`` split as it grows: independent from week to week, and in step with hours since a reading.
    variance = models.FloatField()
    hours_since_reading = models.FloatField()
    # Usual engine hours on a working day of average season, and its relative standard deviations.
    day_rate = models.FloatField()
    bias_cv = models.FloatField()
    rate_cv = models.FloatField()
    week_cv = models.FloatField()
    # meter, run, fuel, crew, service, none: the kind of entry the hours rest on.
    basis = models.CharField(max_length=8)
    guessed_share = models.FloatField()
    # Mean probability over its last hours that it ran without a sound guard.
    guard_off = models.FloatField(default=0)

    objects = TenantManager()

    class Meta:
        indexes = [models.Index(fields=["contractor", "crew"], name="unitstate_crew")]

    def __str__(self) -> str:
        return f"{self.trimmer_id}"


class DueFlag(models.Model):
    """When one task of one unit falls due, and why. Its state on a day is worked out when read."""

    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="+", db_index=False)
    trimmer = models.ForeignKey(Trimmer, on_delete=models.CASCADE, related_name="flags", db_index=False)
    task = models.CharField(max_length=12)
    on_hold = models.BooleanField(default=False)
    last_done_hours = models.FloatField(null=True)
    last_done_on = models.DateField(null=True)
    counts_from_hours = models.FloatField(null=True)
    counts_from_on = models.DateField(null=True)
    interval_hours = models.FloatField(null=True)
    interval_months = models.PositiveSmallIntegerField(null=True)
    interval_basis = models.CharField(max_length=8)
    manual_source = models.CharField(max_length=8)
    due_hours = models.FloatField(null=True)
    due_date = models.DateField(null=True)
    # The day on which the hours went past due_hours, where entries already say so.
    passed_on = models.DateField(null=True)
    # Which learned interval stands behind it (LearnedInterval.setting); empty: none. Counts are looked up when read.
    setting = models.CharField(max_length=20, blank=True, default="")
    # Served at half its interval, by the contractor's choice, so that hidden damage shows.
    staggered = models.BooleanField(default=False)
    # [[kind, {values}], ...]: worded when shown, in the reader's language.
    reasons = models.JSONField(default=list)

    objects = TenantManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["trimmer", "task"], name="flag_once")]

    def __str__(self) -> str:
        return f"{self.trimmer_id} {self.task}"
