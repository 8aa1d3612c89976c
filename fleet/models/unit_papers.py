"""What people add to a unit beside its ledger: a recall notice done, facts that were missing, its purchase papers.

The first two are added to and never edited. None is a row of the files that carry a fleet from one portal to another.
"""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.catalog import RecallNotice
from fleet.models.people import Contractor, new_token
from fleet.models.tenancy import TenantManager
from fleet.models.trimmers import Trimmer


class NoticeDone(models.Model):
    """A unit was done as a recall notice says: who says so, when it was done, by whom and how in a note."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+")
    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="notices_done")
    notice = models.ForeignKey(RecallNotice, on_delete=models.PROTECT, related_name="done_on")
    occurred_on = models.DateField(_("done on"))
    note = models.CharField(_("who did it, and what was done"), max_length=200)
    author = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)
    # Set by a later act of the same kind: taken back, so that the notice stops the unit again. The row stays.
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")

    objects = TenantManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["trimmer", "notice"],
                condition=models.Q(taken_back_at__isnull=True),
                name="notice_done_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.trimmer_id} {self.notice_id}"


class UnitFactsFilled(models.Model):
    """Facts of a unit's paper that were missing and that somebody filled in: serial, purchase, price."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+")
    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="facts_filled")
    after = models.JSONField()
    author = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    objects = TenantManager()

    def __str__(self) -> str:
        return f"{self.trimmer_id} {sorted(self.after)}"


def paper_path(paper: PurchasePaper, _name: str) -> str:
    """Papers are stored under a name nobody can guess; the uploaded name is not kept."""
    return f"papers/{new_token()}.jpg"


class PurchasePaper(models.Model):
    """A picture of what proves that a unit was bought: a receipt, an invoice, a registered warranty.

    It shows what was paid, to whom and by whom, so it is the owner's and the office's, not the crew's.
    """

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+")
    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="purchase_papers")
    picture = models.ImageField(upload_to=paper_path)
    caption = models.CharField(_("what it is"), max_length=120, blank=True, default="")
    added_at = models.DateTimeField(auto_now_add=True)
    added_by = models.ForeignKey("fleet.User", null=True, on_delete=models.SET_NULL, related_name="+")

    objects = TenantManager()

    def __str__(self) -> str:
        return f"{self.trimmer_id} {self.added_at:%Y-%m-%d}"
