"""Season plans: which unit a shop would like on which day, what could not be placed, and the offers made from it."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models import Contractor, Crew, Shop, Trimmer, User
from shop.models.scoping import BenchManager
from shop.models.visits import DropOffLine
from shop.vocabulary import VISIT_PLACES


class SeasonPlan(models.Model):
    """One plan over all contractors of a shop, as it was worked out. A new one is made rather than this one changed."""

    STATES = [("running", _("being worked out")), ("draft", _("not sent")), ("sent", _("offers sent")),
              ("failed", _("stopped"))]  # fmt: skip
    shop = models.ForeignKey(Shop, on_delete=models.CASCADE, related_name="season_plans")
    state = models.CharField(max_length=8, choices=STATES, default="running")
    first_day = models.DateField(_("from"))
    last_day = models.DateField(_("until"))
    # Units due by this day were asked to be placed.
    due_by = models.DateField(_("due by"))
    # Minutes on the road, both ways, of a morning at a contractor's yard; empty: none are to be planned.
    yard_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    made_on = models.DateField()
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="+")
    sent_at = models.DateTimeField(null=True, blank=True)
    # {"days": [[day, capacity, load before, load after], ...], "gap": 0.01, "cost": ..., "cost_as_they_come": ...}
    result = models.JSONField(default=dict)

    def __str__(self) -> str:
        return f"{self.shop} {self.made_on}"


class Placement(models.Model):
    """Where a plan puts one unit; no day: it could not be placed, and ``why`` says so."""

    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.CASCADE, related_name="+", db_index=False)
    plan = models.ForeignKey(SeasonPlan, on_delete=models.CASCADE, related_name="placements")
    trimmer = models.ForeignKey(Trimmer, on_delete=models.CASCADE, related_name="+")
    crew = models.ForeignKey(Crew, null=True, on_delete=models.SET_NULL, related_name="+")
    day = models.DateField(null=True, blank=True)
    place = models.CharField(max_length=4, choices=list(VISIT_PLACES.items()), default="shop")
    minutes = models.PositiveSmallIntegerField()
    due_on = models.DateField(null=True, blank=True)
    # Keys of shop.vocabulary.
    jobs = models.JSONField(default=list)
    # [kind, {values}]: worded when shown.
    why = models.JSONField(default=list)
    line = models.ForeignKey(DropOffLine, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    objects = BenchManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["plan", "trimmer"], name="placed_once")]

    def __str__(self) -> str:
        return f"{self.plan_id} {self.trimmer_id}"
