"""When a shop's bench is open, who works at it, and how long jobs take there."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models import Shop, User


class Bench(models.Model):
    """A shop's settings for its bench; made with usual values when first asked for."""

    shop = models.OneToOneField(Shop, primary_key=True, on_delete=models.CASCADE, related_name="bench")
    # Empty: learned from the shop's own days, starting at the usual share.
    walk_in_share = models.DecimalField(
        _("share held for walk-ins"),
        max_digits=4,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0")), MaxValueValidator(Decimal("0.9"))],
    )
    bring_by = models.TimeField(_("bring by"), default=dt.time(9, 30))
    offer_days = models.PositiveSmallIntegerField(_("an offer stands for, days"), default=5)
    unclaimed_days = models.PositiveSmallIntegerField(_("unclaimed after, days"), default=30)
    diagnosis_charge = models.DecimalField(
        _("diagnosis charge"), max_digits=7, decimal_places=2, default=Decimal("25"),
        validators=[MinValueValidator(Decimal("0"))],
    )  # fmt: skip
    phone = models.CharField(_("phone"), max_length=40, blank=True, default="")
    address = models.CharField(_("address"), max_length=160, blank=True, default="")

    def __str__(self) -> str:
        return f"{self.shop}"


class Technician(models.Model):
    """Somebody who works at the bench, with the minutes of each weekday; Monday first."""

    shop = models.ForeignKey(Shop, on_delete=models.CASCADE, related_name="technicians")
    name = models.CharField(_("name"), max_length=60)
    user = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    monday = models.PositiveSmallIntegerField(_("Monday"), default=0)
    tuesday = models.PositiveSmallIntegerField(_("Tuesday"), default=0)
    wednesday = models.PositiveSmallIntegerField(_("Wednesday"), default=0)
    thursday = models.PositiveSmallIntegerField(_("Thursday"), default=0)
    friday = models.PositiveSmallIntegerField(_("Friday"), default=0)
    saturday = models.PositiveSmallIntegerField(_("Saturday"), default=0)
    sunday = models.PositiveSmallIntegerField(_("Sunday"), default=0)
    from_day = models.DateField(_("from"), null=True, blank=True)
    until = models.DateField(_("until"), null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["shop", "name"], name="technician_once")]

    def __str__(self) -> str:
        return self.name

    @property
    def weekday_minutes(self) -> tuple[int, ...]:
        """Minutes of each weekday, Monday first."""
        return (
            self.monday, self.tuesday, self.wednesday, self.thursday, self.friday, self.saturday, self.sunday,
        )  # fmt: skip


class ClosedDays(models.Model):
    """Days on which the whole bench, or one technician, does not work."""

    shop = models.ForeignKey(Shop, on_delete=models.CASCADE, related_name="closed_days")
    technician = models.ForeignKey(
        Technician, null=True, blank=True, on_delete=models.CASCADE, related_name="days_off", verbose_name=_("who")
    )
    first = models.DateField(_("first day"))
    last = models.DateField(_("last day"))
    why = models.CharField(_("why"), max_length=80, blank=True, default="")
    # A holiday on the same date each year.
    every_year = models.BooleanField(_("every year"), default=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(last__gte=models.F("first")), name="closed_in_order")]

    def __str__(self) -> str:
        return f"{self.first} {self.why}"


class BenchDay(models.Model):
    """One day of one bench: the row that bookings for that day lock, so that the last slot is given once."""

    shop = models.ForeignKey(Shop, on_delete=models.CASCADE, related_name="bench_days")
    day = models.DateField()
    # Raised by every booking, move and cancellation for this day.
    version = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["shop", "day"], name="bench_day_once")]

    def __str__(self) -> str:
        return f"{self.shop} {self.day}"


class StandardMinutes(models.Model):
    """How long a job takes at this shop: its own figure if it gave one, and what its finished jobs say."""

    shop = models.ForeignKey(Shop, on_delete=models.CASCADE, related_name="standard_minutes")
    # A key of shop.vocabulary: task.grease, repair.gearbox.replaced, intake.
    job = models.CharField(max_length=40)
    own_minutes = models.PositiveSmallIntegerField(_("minutes"), null=True, blank=True)
    # Finished jobs with their minutes entered: how many, and the mean of their logarithms.
    jobs = models.PositiveIntegerField(default=0)
    mean_log = models.FloatField(default=0.0)
    learned_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["shop", "job"], name="standard_minutes_once")]

    def __str__(self) -> str:
        return f"{self.shop} {self.job}"
