"""Warranty claims: what a maker was asked to pay for, and every step until it has answered. Rows are only added."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models

from fleet.models import Contractor, Shop, User
from shop.models.scoping import BenchManager
from shop.models.visits import LineJob
from shop.vocabulary import CLAIM_STEPS


class WarrantyClaim(models.Model):
    """One repair that is to be paid by the maker, as the bench recorded it."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    # The job says which entry of the ledger stands for it: an answer about money puts a corrected one in its place.
    job = models.OneToOneField(LineJob, on_delete=models.PROTECT, related_name="claim")
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")

    objects = BenchManager()

    def __str__(self) -> str:
        return f"{self.job_id}"


class ClaimStep(models.Model):
    """The part tagged and put away, the claim sent, its answer, the part let go."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    claim = models.ForeignKey(WarrantyClaim, on_delete=models.CASCADE, related_name="steps")
    step = models.CharField(max_length=10, choices=list(CLAIM_STEPS.items()))
    on = models.DateField()
    # Asked for, or paid.
    amount = models.DecimalField(max_digits=9, decimal_places=2, null=True, validators=[MinValueValidator(0)])
    # Where the part lies, to whom the claim went, why it was refused.
    note = models.CharField(max_length=200, blank=True, default="")
    # What a claim went out without.
    without = models.JSONField(default=list, blank=True)
    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    # The same press of a button sent twice counts once.
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)

    objects = BenchManager()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.claim_id} {self.step}"
