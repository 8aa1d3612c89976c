"""What the owner's pages show, worked out from the ledger overnight; like all results it can be thrown away."""

from __future__ import annotations

from django.db import models

from fleet.models.people import Contractor
from fleet.models.tenancy import TenantManager
from fleet.models.trimmers import Trimmer


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


class ReviewBasis(models.Model):
    """What advice on a contractor's units rests on, and what each replacement age of its models costs."""

    contractor = models.OneToOneField(Contractor, primary_key=True, on_delete=models.CASCADE, related_name="+")
    as_of = models.DateField()
    mark = models.CharField(max_length=64)
    # None where the record says too little to advise.
    basis = models.JSONField(null=True)
    model_ages = models.JSONField(default=list)
    # Twelve months from the next opening, see ``fleet.upkeep.budget``.
    budget = models.JSONField(null=True)
    worked_out_at = models.DateTimeField(auto_now=True)

    objects = TenantManager()

    def __str__(self) -> str:
        return f"{self.contractor_id} {self.as_of}"


class UnitReview(models.Model):
    """Advice on one unit in use, with the facts it rests on."""

    trimmer = models.OneToOneField(Trimmer, primary_key=True, on_delete=models.CASCADE, related_name="review")
    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="+", db_index=False)
    advice = models.CharField(max_length=12)
    facts = models.JSONField()
    keep_cost_next_season = models.FloatField(null=True)
    replace_cost_per_season = models.FloatField(null=True)
    spend_limit = models.FloatField(null=True)
    half_price = models.FloatField(null=True)
    probability_keep = models.FloatField(null=True)
    margin = models.FloatField(null=True)
    replacement = models.BigIntegerField(null=True)
    warranty_until = models.DateField(null=True)
    # [[kind, {values}], ...]: worded when shown, in the reader's language.
    reasons = models.JSONField(default=list)

    objects = TenantManager()

    class Meta:
        indexes = [models.Index(fields=["contractor", "advice", "margin"], name="unit_review_by_advice")]

    def __str__(self) -> str:
        return f"{self.trimmer_id} {self.advice}"
