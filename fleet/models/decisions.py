"""What was said and decided, kept as it was: append-only, and not rebuildable from the ledger."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.people import Contractor
from fleet.models.tenancy import TenantManager
from fleet.models.trimmers import Trimmer


class FlagChange(models.Model):
    """A flag moved: what it said before, what it says now, and what moved it (an entry's kind, or a scan)."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="flag_changes")
    task = models.CharField(max_length=12)
    moved_by = models.CharField(max_length=12)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)
    recorded_at = models.DateTimeField(auto_now_add=True)

    objects = TenantManager()

    def __str__(self) -> str:
        return f"{self.trimmer_id} {self.task}"


class Postponement(models.Model):
    """*Not now*: somebody put a job off until a date, and why. Never on a safety row."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="postponements")
    task = models.CharField(max_length=12)
    until = models.DateField(_("until"))
    reason = models.CharField(_("reason"), max_length=200)
    author = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    # Set by a later act of the same kind: picked up again before its date.
    ended_at = models.DateTimeField(null=True, blank=True)
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)

    objects = TenantManager()

    def __str__(self) -> str:
        return f"{self.trimmer_id} {self.task} {self.until}"


class ReviewDecision(models.Model):
    """Kept or replaced: what the owner decided about a unit, and what the advice and its figures were that day.

    A change of mind is a later row; none is edited, so that what was decided can be compared with what happened.
    """

    DECIDED = [("keep", _("keep")), ("replace", _("replace"))]
    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="review_decisions")
    decided_on = models.DateField()
    decided = models.CharField(_("decision"), max_length=8, choices=DECIDED)
    why = models.CharField(_("why"), max_length=200, blank=True, default="")
    advice = models.CharField(max_length=12)
    # What the page showed: hours, repairs, next season's cost, the spend limit.
    figures = models.JSONField(default=dict)
    author = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)

    objects = TenantManager()

    class Meta:
        indexes = [models.Index(fields=["contractor", "decided_on"], name="decision_by_date")]

    def __str__(self) -> str:
        return f"{self.trimmer_id} {self.decided} {self.decided_on}"
