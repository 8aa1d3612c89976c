"""What the owner's pages show, worked out from the ledger overnight; like all results it can be thrown away."""

from __future__ import annotations

from django.db import models

from fleet.models.people import Contractor
from fleet.models.tenancy import TenantManager


class CrewCost(models.Model):
    """The cost of misuse, crew by crew, of one season, or (season 0) of the whole record."""

    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="+")
    season = models.PositiveSmallIntegerField()
    as_of = models.DateField()
    # Of everything the answer rests on: where it has not moved, the answer stands.
    mark = models.CharField(max_length=64)
    data = models.JSONField()
    worked_out_at = models.DateTimeField(auto_now=True)

    objects = TenantManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["contractor", "season"], name="crew_cost_once")]

    def __str__(self) -> str:
        return f"{self.contractor_id} {self.season}"
