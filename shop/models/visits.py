"""Drop-offs and yard visits: what a crew brings on a day, line by line, and every step it takes.

``state`` on a line and on its drop-off is the present; ``VisitEvent`` rows keep how it came to be, and are only added.
Both are written by ``shop.bench`` alone.
"""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.models import Contractor, Crew, Shop, Trimmer, User
from fleet.models.people import new_token
from fleet.models.tenancy import TenantManager
from shop.models.scoping import BenchManager
from shop.vocabulary import BOOKED, STANDING, VISIT_PLACES, VISIT_STATES

_STATES = list(VISIT_STATES.items())


class DropOff(models.Model):
    """One visit: a crew's units and other kit on one day, at the shop's bench or in the contractor's yard."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+")
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+")
    # Empty: the contractor's yard as a whole.
    crew = models.ForeignKey(Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    place = models.CharField(max_length=4, choices=list(VISIT_PLACES.items()), default="shop")
    day = models.DateField(_("day"))
    state = models.CharField(max_length=10, choices=_STATES, default=BOOKED)
    walk_in = models.BooleanField(_("walk-in"), default=False)
    # Minutes on the road of a yard visit, both ways; they come off the day.
    travel_minutes = models.PositiveSmallIntegerField(default=0)
    # The last day on which an offer may be taken.
    offer_until = models.DateField(null=True, blank=True)
    plan = models.ForeignKey("shop.SeasonPlan", null=True, blank=True, on_delete=models.SET_NULL, related_name="offers")
    note = models.CharField(_("note"), max_length=200, blank=True, default="")
    made_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    # The same press of a button sent twice books once.
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)
    # Raised by every step; an answer to what has moved on meanwhile is refused. Also the SEQUENCE of a calendar entry.
    version = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField(auto_now=True)
    # The address on its ticket.
    token = models.CharField(max_length=32, unique=True, default=new_token)

    objects = BenchManager()

    class Meta:
        indexes = [
            models.Index(fields=["shop", "day"], name="dropoff_by_day"),
            models.Index(fields=["contractor", "day"], name="dropoff_by_contractor"),
            models.Index(fields=["shop", "state"], name="dropoff_by_state"),
        ]

    def __str__(self) -> str:
        return f"{self.crew or self.contractor} {self.day}"


class DropOffLine(models.Model):
    """One unit, or one piece of other kit, that comes with a drop-off."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+")
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+")
    drop_off = models.ForeignKey(DropOff, on_delete=models.CASCADE, related_name="lines")
    # Empty: other kit, named in ``kit``; no statistics are kept of it.
    trimmer = models.ForeignKey(Trimmer, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    kit = models.CharField(_("other kit"), max_length=80, blank=True, default="")
    # Minutes promised for this line: the sum of its jobs and the intake, when last changed.
    minutes = models.PositiveSmallIntegerField(_("minutes"))
    state = models.CharField(max_length=10, choices=_STATES, default=BOOKED)
    # Whether the line is still to come or in the shop: repeats ``state`` for the constraint below.
    standing = models.BooleanField(default=True)
    arrived_at = models.DateTimeField(null=True, blank=True)
    ready_at = models.DateTimeField(null=True, blank=True)
    picked_up_at = models.DateTimeField(null=True, blank=True)
    promised_on = models.DateField(_("promised for"), null=True, blank=True)
    # What the line waits for, in the technician's words.
    waiting_for = models.CharField(_("waiting for"), max_length=120, blank=True, default="")

    objects = BenchManager()

    class Meta:
        constraints = [
            # A unit is expected or in the shop once, whoever books it.
            models.UniqueConstraint(
                fields=["trimmer"], condition=Q(standing=True, trimmer__isnull=False), name="unit_dropped_off_once"
            ),
            models.CheckConstraint(
                condition=Q(trimmer__isnull=False, kit="") | (Q(trimmer__isnull=True) & ~Q(kit="")),
                name="line_is_unit_or_kit",
            ),
            models.CheckConstraint(
                condition=Q(standing=True, state__in=sorted(STANDING))
                | (Q(standing=False) & ~Q(state__in=sorted(STANDING))),
                name="line_standing_as_state",
            ),
        ]
        indexes = [models.Index(fields=["shop", "state"], name="dropoffline_by_state")]

    def __str__(self) -> str:
        return self.name

    @property
    def name(self) -> str:
        """The unit's tag, or what the other kit is called."""
        return self.trimmer.tag if self.trimmer is not None else self.kit


class LineJob(models.Model):
    """One job of a line, with the minutes it was given and, once done, what it became in the ledger."""

    ADDED = [("booking", _("booked")), ("check_in", _("added at check-in")), ("bench", _("added at the bench"))]
    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    line = models.ForeignKey(DropOffLine, on_delete=models.CASCADE, related_name="jobs")
    # A key of shop.vocabulary: task.grease, fault.carburetor, kit.
    job = models.CharField(max_length=40)
    minutes = models.PositiveSmallIntegerField(_("minutes"))
    added = models.CharField(max_length=8, choices=ADDED, default="booking")
    # The open failure this job is to mend, where there is one.
    failure = models.ForeignKey("fleet.Failure", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    done_at = models.DateTimeField(null=True, blank=True)
    # The ledger's row it was recorded as: service or failure, and its id.
    entry_kind = models.CharField(max_length=8, blank=True, default="")
    entry_id = models.BigIntegerField(null=True, blank=True)
    minutes_taken = models.PositiveSmallIntegerField(_("minutes taken"), null=True, blank=True)
    # Left undone, and why; for example the owner said no.
    left_out = models.CharField(_("left out because"), max_length=120, blank=True, default="")

    objects = BenchManager()

    class Meta:
        constraints = [
            # Two repairs of one part may both be done; the same job is not waiting to be done twice.
            models.UniqueConstraint(
                fields=["line", "job"],
                condition=Q(failure__isnull=True, done_at__isnull=True),
                name="line_job_open_once",
            ),
            models.UniqueConstraint(
                fields=["line", "failure"], condition=Q(failure__isnull=False), name="line_failure_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line_id} {self.job}"


class VisitEvent(models.Model):
    """One step of a drop-off, or of one of its lines. Added to, never edited."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", db_index=False)
    drop_off = models.ForeignKey(DropOff, on_delete=models.CASCADE, related_name="events")
    line = models.ForeignKey(DropOffLine, null=True, blank=True, on_delete=models.CASCADE, related_name="events")
    # A state reached, or moved, changed, promised, said.
    what = models.CharField(max_length=10)
    before = models.CharField(max_length=40, blank=True, default="")
    after = models.CharField(max_length=40, blank=True, default="")
    note = models.CharField(max_length=200, blank=True, default="")
    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = BenchManager()

    class Meta:
        indexes = [models.Index(fields=["drop_off", "at"], name="visitevent_by_time")]

    def __str__(self) -> str:
        return f"{self.drop_off_id} {self.what}"


class VisitMail(models.Model):
    """A letter that has to go out about a drop-off: written with the change, sent afterwards until it is gone."""

    KINDS = [
        ("offer", _("offer")),
        ("booking", _("booking")),
        ("moved", _("moved")),
        ("cancelled", _("cancelled")),
        ("ready", _("ready")),
        ("no_show", _("no-show")),
        ("unclaimed", _("unclaimed")),
    ]
    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="+", db_index=False)
    shop = models.ForeignKey(Shop, on_delete=models.CASCADE, related_name="+", db_index=False)
    drop_off = models.ForeignKey(DropOff, on_delete=models.CASCADE, related_name="mails")
    kind = models.CharField(max_length=10, choices=KINDS)
    # The drop-off's version when it was written: the same step is told of once.
    version = models.PositiveIntegerField()
    written_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    recipients = models.PositiveSmallIntegerField(default=0)

    objects = BenchManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["drop_off", "kind", "version"], name="visit_mail_once")]
        indexes = [models.Index(fields=["sent_at"], name="visitmail_waiting", condition=Q(sent_at__isnull=True))]

    def __str__(self) -> str:
        return f"{self.drop_off_id} {self.kind}"


class FeedAddress(models.Model):
    """The private address of a calendar feed, of a crew or of a shop; revoked, never reused.

    A shop's feed carries no contractor, and whoever asks for a feed is not signed in: look it up by its token within
    ``all_tenants()``.
    """

    token = models.CharField(max_length=32, unique=True, default=new_token)
    contractor = models.ForeignKey(Contractor, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    crew = models.ForeignKey(Crew, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    shop = models.ForeignKey(Shop, null=True, blank=True, on_delete=models.CASCADE, related_name="feed_addresses")
    made_by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    asked_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(shop__isnull=False, crew__isnull=True, contractor__isnull=True)
                | Q(shop__isnull=True, crew__isnull=False, contractor__isnull=False),
                name="feed_of_crew_or_shop",
            ),
            models.UniqueConstraint(fields=["crew"], condition=Q(revoked_at__isnull=True), name="feed_once_crew"),
            models.UniqueConstraint(fields=["shop"], condition=Q(revoked_at__isnull=True), name="feed_once_shop"),
        ]

    def __str__(self) -> str:
        return f"{self.crew or self.shop}"
