"""Sets of files handed in on the import screen: whose they are, how far they have come, what came of them."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.people import Contractor, User, new_token


class ImportRun(models.Model):
    """One set of uploaded files. The files lie in a folder named by ``token`` and go after a day; this row stays."""

    CHECKED, RUNNING, DONE, FAILED = "checked", "running", "done", "failed"
    STATES = [
        (CHECKED, _("read, not taken yet")),
        (RUNNING, _("being taken")),
        (DONE, _("taken")),
        (FAILED, _("stopped half-way")),
    ]
    token = models.CharField(max_length=32, unique=True, default=new_token)
    owner = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    # Whose rows these are where a row names nobody; empty: the files say so themselves.
    contractor = models.ForeignKey(Contractor, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    state = models.CharField(max_length=8, choices=STATES, default=CHECKED)
    # {"added": {file: n}, "repeated": {...}, "ignored_columns": {...}, "bad": n}; the bad rows lie with the files.
    report = models.JSONField(default=dict)
    created_at = models.DateTimeField(auto_now_add=True)
    # When the run last said how far it was: one that has fallen silent may be started again.
    heard_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["owner", "created_at"], name="importrun_owner")]

    def __str__(self) -> str:
        return f"{self.created_at:%Y-%m-%d %H:%M} {self.state}"
