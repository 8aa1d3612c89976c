"""Estimates sent to a unit's owner: the figures as they were sent, the addresses that open them, the answer.

Rows are only added; of an address only the mailing is kept up to date. A newer estimate of a fault ends its older.
"""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models import Contractor, Shop, User
from fleet.models.people import new_token
from shop.estimate_sums import ANSWERS, HOW_ANSWERED
from shop.models.scoping import BenchManager
from shop.models.visits import DropOffLine, LineJob
from shop.repair_options import KINDS, WAYS


class Estimate(models.Model):
    """What putting one fault right comes to, with everything else on the visit's line, as the owner was told."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    line = models.ForeignKey(DropOffLine, on_delete=models.CASCADE, related_name="estimates")
    job = models.ForeignKey(LineJob, on_delete=models.CASCADE, related_name="estimates")
    # The job's key when it was sent: a finished job is called by what was done.
    job_key = models.CharField(max_length=40)
    way = models.CharField(max_length=10, choices=list(WAYS.items()))
    kind = models.CharField(max_length=8, choices=list(KINDS.items()), blank=True, default="")
    minutes = models.PositiveSmallIntegerField(_("minutes"))
    parts = models.DecimalField(_("parts, $"), max_digits=8, decimal_places=2)
    labour_rate = models.DecimalField(max_digits=8, decimal_places=2)
    labor = models.DecimalField(max_digits=9, decimal_places=2)
    # Other work on the line: [job, minutes, dollars, done | told | expected].
    other = models.JSONField(default=list)
    total = models.DecimalField(max_digits=9, decimal_places=2)
    # What the page rested on when it was sent; empty: not agreed, not known.
    agreed = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    spend_limit = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    half_price = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    # It should not be run before this is put right.
    rests = models.BooleanField(default=False)
    note = models.CharField(max_length=300, blank=True, default="")
    # Where the portal is reached, for the address in the letter.
    portal = models.CharField(max_length=200, blank=True, default="")
    made_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    # The same press of a button sent twice sends one.
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)

    objects = BenchManager()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.line_id} {self.total}"


class EstimateAddress(models.Model):
    """The private address of one owner to one estimate, and whether its letter is gone.

    The address is ``nonce`` with a signature by the portal's key (``shop.bench.estimate_addresses``): whoever reads
    this table without the key knows no address, and the letter can be sent again after a failure.
    """

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    estimate = models.ForeignKey(Estimate, on_delete=models.CASCADE, related_name="addresses")
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    nonce = models.CharField(max_length=32, unique=True, default=new_token)
    sent_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)

    objects = BenchManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["estimate", "person"], name="estimate_address_once")]
        indexes = [models.Index(fields=["sent_at"], name="estimate_waiting", condition=models.Q(sent_at__isnull=True))]

    def __str__(self) -> str:
        return f"{self.estimate_id} {self.person_id}"


class EstimateAnswer(models.Model):
    """The owner's answer: one an estimate, whoever clicks how often."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    estimate = models.OneToOneField(Estimate, on_delete=models.PROTECT, related_name="answered")
    answer = models.CharField(max_length=3, choices=list(ANSWERS.items()))
    how = models.CharField(max_length=9, choices=list(HOW_ANSWERED.items()))
    # Who answered, by name; ``author`` is whoever wrote it down.
    said_by = models.CharField(max_length=80)
    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    # The total answered to, and the sum that was OK to fix up to from then on.
    total = models.DecimalField(max_digits=9, decimal_places=2)
    fix_up_to = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    at = models.DateTimeField()

    objects = BenchManager()

    def __str__(self) -> str:
        return f"{self.estimate_id} {self.answer}"
