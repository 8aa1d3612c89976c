"""What was said and seen when a unit came over the counter. Added to: the latest of a line stands."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models import Contractor, Shop, User
from fleet.models.people import new_token
from fleet.vocabulary import GUARD_STATES, LINE_STATES
from shop.models.scoping import BenchManager
from shop.models.visits import DropOffLine
from shop.vocabulary import FUEL_IN_IT, SYMPTOMS


def bench_photo_path(photo: BenchPhoto, _name: str) -> str:
    """Photos are stored under a name nobody can guess; the uploaded name is not kept."""
    return f"bench/{new_token()}.jpg"


class CheckIn(models.Model):
    """The facts of one check-in. Guard, line, hours and safety findings are in the ledger as well."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    line = models.ForeignKey(DropOffLine, on_delete=models.CASCADE, related_name="check_ins")
    phone = models.CharField(_("phone"), max_length=40, blank=True, default="")
    # In the contractor's words.
    complaint = models.CharField(_("complaint"), max_length=300, blank=True, default="")
    symptom = models.CharField(
        _("symptom"), max_length=30, blank=True, default="", choices=[(s.key, s.label) for s in SYMPTOMS.values()]
    )
    fuel = models.CharField(
        _("fuel in it"), max_length=10, blank=True, default="", choices=list(FUEL_IN_IT.items())
    )  # fmt: skip
    left_with = models.CharField(_("left with it"), max_length=200, blank=True, default="")
    promised_on = models.DateField(_("promised for"), null=True, blank=True)
    # Above this the shop asks before it goes on; empty: ask before anything beyond what was booked.
    fix_up_to = models.DecimalField(_("OK to fix up to"), max_digits=8, decimal_places=2, null=True, blank=True)
    diagnosis_charge = models.DecimalField(_("diagnosis charge"), max_digits=7, decimal_places=2, null=True, blank=True)
    hours = models.DecimalField(_("hours"), max_digits=9, decimal_places=2, null=True, blank=True)
    guard = models.CharField(_("guard"), max_length=10, blank=True, default="", choices=list(GUARD_STATES.items()))
    cutting_line = models.CharField(_("line"), max_length=10, blank=True, default="", choices=list(LINE_STATES.items()))
    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = BenchManager()

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.line_id} {self.at:%Y-%m-%d}"


class BenchPhoto(models.Model):
    """A picture taken at the counter or the bench: redrawn, bare of where it was taken."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    line = models.ForeignKey(DropOffLine, on_delete=models.CASCADE, related_name="photos")
    picture = models.ImageField(upload_to=bench_photo_path)
    caption = models.CharField(max_length=120, blank=True, default="")
    added_at = models.DateTimeField(auto_now_add=True)
    added_by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="+")

    objects = BenchManager()

    def __str__(self) -> str:
        return f"{self.line_id} {self.added_at:%Y-%m-%d}"
