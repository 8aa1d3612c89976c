"""Units: one row each, with what does not change after registration; history is in the ledger."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.models.catalog import TrimmerModel
from fleet.models.people import Contractor, new_token
from fleet.models.tenancy import TenantManager
from fleet.vocabulary import GUARD_STATES


def photo_path(photo: UnitPhoto, _name: str) -> str:
    """Photos are stored under a name nobody can guess; the uploaded name is not kept."""
    return f"photos/{new_token()}.jpg"


class Trimmer(models.Model):
    """A string trimmer. ``retired_on`` repeats the standing Retirement entry so that a tag can be free again."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="trimmers")
    tag = models.CharField(_("tag"), max_length=40)
    # Compared without case, spaces, hyphens and underscores.
    tag_key = models.CharField(max_length=40)
    model = models.ForeignKey(TrimmerModel, on_delete=models.PROTECT, related_name="trimmers")
    serial = models.CharField(_("serial"), max_length=60, blank=True, default="")
    bought_on = models.DateField(_("bought on"), null=True, blank=True)
    price = models.DecimalField(_("price paid"), max_digits=9, decimal_places=2, null=True, blank=True)
    registered_on = models.DateField(_("registered on"))
    hours_at_registration = models.DecimalField(
        _("engine hours at registration"), max_digits=9, decimal_places=2, default=0
    )
    guard_at_registration = models.CharField(
        _("guard"), max_length=10, choices=list(GUARD_STATES.items()), default="on"
    )
    retired_on = models.DateField(null=True, blank=True)
    note = models.TextField(_("note"), blank=True, default="")
    # Goes up by one with every entry that touches the unit; a scan writes only where it has not moved.
    ledger_version = models.PositiveIntegerField(default=0)
    # The address on the unit's printed tag; replaced when a tag is lost.
    tag_token = models.CharField(max_length=32, unique=True, default=new_token)

    objects = TenantManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["contractor", "tag_key"], condition=Q(retired_on__isnull=True), name="tag_once_in_use"
            )
        ]
        indexes = [models.Index(fields=["contractor", "tag_key"], name="trimmer_tag")]

    def __str__(self) -> str:
        return self.tag


class UnitPhoto(models.Model):
    """A picture of a unit, shown on its page and on the theft sheet."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+")
    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="photos")
    picture = models.ImageField(upload_to=photo_path)
    caption = models.CharField(max_length=120, blank=True, default="")
    added_at = models.DateTimeField(auto_now_add=True)
    added_by = models.ForeignKey("fleet.User", null=True, on_delete=models.SET_NULL, related_name="+")

    objects = TenantManager()

    def __str__(self) -> str:
        return f"{self.trimmer} {self.added_at:%Y-%m-%d}"
