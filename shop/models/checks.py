"""First checks of a complaint: what was looked at, in which order, and what it was. Answers are only added."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models import Contractor, Shop, User
from shop.models.scoping import BenchManager
from shop.models.visits import DropOffLine
from shop.vocabulary import CHECK_ANSWERS, SYMPTOMS


class CheckRun(models.Model):
    """The checks of one complaint on one line. ``found`` is the cause that stands as found, else empty."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    line = models.ForeignKey(DropOffLine, on_delete=models.CASCADE, related_name="check_runs")
    symptom = models.CharField(_("symptom"), max_length=30, choices=[(s.key, s.label) for s in SYMPTOMS.values()])
    found = models.CharField(max_length=40, blank=True, default="")
    started_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField()

    objects = BenchManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["line", "symptom"], name="check_run_once")]
        # What a shop has found before, by complaint.
        indexes = [models.Index(fields=["shop", "symptom", "found"], name="checkrun_by_finding")]

    def __str__(self) -> str:
        return f"{self.line_id} {self.symptom}"


class BenchAnswer(models.Model):
    """What an answer at the bench has besides its words: who, when, and the hold it made."""

    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    # The same press of a button sent twice answers once.
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)
    # The ledger's row that holds the unit, where what was found can hurt; withdrawn if the answer is taken back.
    entry_kind = models.CharField(max_length=8, blank=True, default="")
    entry_id = models.BigIntegerField(null=True, blank=True)

    objects = BenchManager()

    class Meta:
        abstract = True
        ordering = ["at", "pk"]


class CheckAnswer(BenchAnswer):
    """One answer to one check; the latest of a cause stands."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    run = models.ForeignKey(CheckRun, on_delete=models.CASCADE, related_name="answers")
    # Key of the cause in the table of symptoms.
    cause = models.CharField(max_length=40)
    answer = models.CharField(max_length=10, choices=list(CHECK_ANSWERS.items()))

    def __str__(self) -> str:
        return f"{self.run_id} {self.cause} {self.answer}"
