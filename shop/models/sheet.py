"""The bench sheet: what was found at each line, checks that found nothing included. Rows are only added."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models import Contractor, Shop, TrimmerModel, User
from shop.models.checks import BenchAnswer
from shop.models.scoping import BenchManager
from shop.models.visits import DropOffLine
from shop.quick_look import VERDICTS
from shop.sheet_lines import DONE_WORDS, FINDINGS, LOOKED


class SheetAnswer(BenchAnswer):
    """One tap on one line of the sheet; the latest of a line stands."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    line = models.ForeignKey(DropOffLine, on_delete=models.CASCADE, related_name="sheet_answers")
    # Key of the line in the table of lines.
    check_key = models.CharField(max_length=20)
    finding = models.CharField(max_length=10, choices=list(FINDINGS.items()))
    # The ledger's finer word for it: blocked, holed, loose; empty where it says no more than the finding.
    detail = models.CharField(max_length=10, blank=True, default="")
    done = models.CharField(max_length=8, choices=list(DONE_WORDS.items()), default=LOOKED)
    measured = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)

    class Meta(BenchAnswer.Meta):
        abstract = False
        indexes = [models.Index(fields=["line", "check_key"], name="sheetanswer_by_line")]

    def __str__(self) -> str:
        return f"{self.line_id} {self.check_key} {self.finding}"


class SheetEntry(models.Model):
    """What an answer became when the sheet was recorded: a row of the ledger, or a job still to be done."""

    KINDS = [
        ("service", _("service")), ("failure", _("failure")), ("guard", _("guard check")), ("job", _("job")),
    ]  # fmt: skip
    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    answer = models.OneToOneField(SheetAnswer, on_delete=models.CASCADE, related_name="became")
    entry_kind = models.CharField(max_length=8, choices=KINDS)
    entry_id = models.BigIntegerField()
    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = BenchManager()

    def __str__(self) -> str:
        return f"{self.answer_id} {self.entry_kind}"


class QuickVerdict(models.Model):
    """What was decided after the quick look at a complaint; the latest of a line stands."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    line = models.ForeignKey(DropOffLine, on_delete=models.CASCADE, related_name="verdicts")
    verdict = models.CharField(max_length=10, choices=list(VERDICTS.items()))
    # For example what the owner said on the phone.
    note = models.CharField(_("note"), max_length=120, blank=True, default="")
    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = BenchManager()

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.line_id} {self.verdict}"


class MeasureFigure(models.Model):
    """What a model's manual says a measured value should be, as this shop read it there; the latest stands."""

    shop = models.ForeignKey(Shop, on_delete=models.CASCADE, related_name="measure_figures")
    model = models.ForeignKey(TrimmerModel, on_delete=models.CASCADE, related_name="+")
    check_key = models.CharField(max_length=20)
    # Both empty: the figure before was a slip, and the manual is to be looked at again.
    low = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    high = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["shop", "model"], name="measurefigure_by_model")]

    def __str__(self) -> str:
        return f"{self.model_id} {self.check_key}"
