"""What was said would happen, kept as it was said, so that it can be held against what did: append-only."""

from __future__ import annotations

from typing import Any, NoReturn

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.fits import FitSnapshot
from fleet.models.people import Contractor
from fleet.models.tenancy import TenantManager
from fleet.models.trimmers import Trimmer


class AppendOnlyError(RuntimeError):
    """A row that is kept as it was said was to be changed or deleted."""

    def __init__(self) -> None:
        super().__init__("What was said is kept as it was: add a row, never change or delete one.")


class AppendOnlyRows(models.QuerySet):
    """Rows are only ever added."""

    def update(self, **_values: Any) -> NoReturn:
        raise AppendOnlyError

    def bulk_update(self, *_args: Any, **_kwargs: Any) -> NoReturn:
        raise AppendOnlyError

    def delete(self) -> NoReturn:
        raise AppendOnlyError


class Forecast(models.Model):
    """One statement made on one night: with this probability it will have happened by the end of ``until``.

    ``due``: the unit's hours pass ``target_hours``, at which ``subject`` (a task) falls due. ``failure``: ``subject``
    (a component) fails. ``fits`` and ``usage_version`` tell which learnings it rests on.
    """

    DUE, FAILURE = "due", "failure"
    KINDS = [(DUE, _("falls due")), (FAILURE, _("fails"))]
    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="+", db_index=False)
    kind = models.CharField(max_length=8, choices=KINDS)
    subject = models.CharField(max_length=12)
    said_on = models.DateField()
    days = models.PositiveSmallIntegerField()
    until = models.DateField()
    probability = models.FloatField()
    target_hours = models.FloatField(null=True)
    fits = models.ForeignKey(FitSnapshot, null=True, on_delete=models.PROTECT, related_name="+", db_index=False)
    usage_version = models.PositiveIntegerField()
    recorded_at = models.DateTimeField(auto_now_add=True)

    objects = TenantManager.from_queryset(AppendOnlyRows)()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["trimmer", "kind", "subject", "days", "said_on"], name="forecast_once"),
            models.CheckConstraint(
                condition=models.Q(probability__gte=0) & models.Q(probability__lte=1), name="forecast_probability"
            ),
        ]
        indexes = [models.Index(fields=["contractor", "until"], name="forecast_by_horizon")]

    def __str__(self) -> str:
        return f"{self.trimmer_id} {self.kind} {self.subject} {self.until}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise AppendOnlyError
        super().save(*args, **kwargs)

    def delete(self, *_args: Any, **_kwargs: Any) -> NoReturn:
        raise AppendOnlyError
