"""The ledger: what happened to units. Rows are added and, by a later Withdrawal, set aside; never edited or deleted."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.people import Contractor, Crew
from fleet.models.tenancy import TenantManager
from fleet.models.trimmers import Trimmer
from fleet.vocabulary import (
    AS_FOUND,
    CAUSES,
    COMPONENTS,
    FAILURE_DONE,
    FOUND,
    GUARD_STATES,
    LINE_STATES,
    SAFETY_STATES,
    SEEN_BY,
    SERVICE_DONE,
    TASKS,
)

Choices = list[tuple[str, object]]


def _choices(words: dict) -> list:
    return list(words.items())


class Entry(models.Model):
    """What every ledger row carries.

    ``content_key`` is a 63-bit digest of what the row records (see ``fleet.record.content``): an entry that is already
    there is recognised by it, whoever entered it. ``client_entry_id`` comes from the form, phone or API call, so that
    the same press of a button sent twice is recorded once.
    """

    SOURCES = [("screen", _("screen")), ("import", _("import")), ("api", _("API")), ("offline", _("phone, sent later"))]
    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+", db_index=False)
    occurred_on = models.DateField(_("date"))
    recorded_at = models.DateTimeField(auto_now_add=True)
    author = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+", db_index=False)
    source = models.CharField(max_length=8, choices=SOURCES)
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)
    content_key = models.BigIntegerField()

    objects = TenantManager()

    class Meta:
        abstract = True


class UnitEntry(Entry):
    """A ledger row about one unit."""

    trimmer = models.ForeignKey(Trimmer, on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        abstract = True
        constraints = [models.UniqueConstraint(fields=["trimmer", "content_key"], name="%(class)s_content")]
        indexes = [models.Index(fields=["trimmer", "occurred_on"], name="%(class)s_by_date")]


class HoursEntry(UnitEntry):
    """Exactly one of a meter's reading, hours run, or liters drawn for this unit."""

    meter_hours = models.DecimalField(_("meter reads"), max_digits=9, decimal_places=2, null=True, blank=True)
    hours_run = models.DecimalField(_("hours run"), max_digits=7, decimal_places=2, null=True, blank=True)
    litres = models.DecimalField(_("fuel drawn, liters"), max_digits=7, decimal_places=2, null=True, blank=True)
    # The reading is the first of a meter fitted or exchanged that day.
    meter_replaced = models.BooleanField(_("meter replaced"), default=False)


class CrewHours(Entry):
    """A crew's trimmer hours for one week, or the fuel its can held and the trimmers' share of it.

    ``occurred_on`` and ``week_of`` are the Monday of the week.
    """

    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="+", db_index=False)
    week_of = models.DateField(_("week of (its Monday)"))
    crew_hours = models.DecimalField(_("crew's trimmer hours"), max_digits=8, decimal_places=2, null=True, blank=True)
    crew_litres = models.DecimalField(_("fuel, liters"), max_digits=8, decimal_places=2, null=True, blank=True)
    trimmer_share = models.DecimalField(
        _("trimmers' share of the can"), max_digits=4, decimal_places=3, null=True, blank=True
    )

    class Meta:
        constraints = [models.UniqueConstraint(fields=["crew", "content_key"], name="crewhours_content")]
        indexes = [models.Index(fields=["crew", "week_of"], name="crewhours_by_week")]


class Assignment(UnitEntry):
    """The unit rides with this crew from this date on (no crew: in the yard, with nobody)."""

    crew = models.ForeignKey(Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="+")


class GuardCheck(UnitEntry):
    """What was seen of guard, line and safety on one day. Empty: not looked at."""

    guard = models.CharField(_("guard"), max_length=10, choices=_choices(GUARD_STATES), blank=True, default="")
    line = models.CharField(_("line"), max_length=10, choices=_choices(LINE_STATES), blank=True, default="")
    safety = models.CharField(_("safety"), max_length=14, choices=_choices(SAFETY_STATES), blank=True, default="")
    seen_by = models.CharField(_("seen by"), max_length=4, choices=_choices(SEEN_BY), default="crew")


class Service(UnitEntry):
    """A task done, or only looked at, with what was found. Empty hours are interpolated from the unit's readings."""

    hours = models.DecimalField(_("engine hours"), max_digits=9, decimal_places=2, null=True, blank=True)
    task = models.CharField(_("task"), max_length=12, choices=[(t.key, t.label) for t in TASKS.values()])
    as_found = models.CharField(_("as found"), max_length=8, choices=_choices(AS_FOUND), blank=True, default="")
    done = models.CharField(_("done"), max_length=8, choices=_choices(SERVICE_DONE), default="serviced")
    part_hours = models.DecimalField(
        _("hours on the part fitted"), max_digits=9, decimal_places=2, null=True, blank=True
    )
    done_by = models.CharField(_("done by"), max_length=4, choices=_choices(SEEN_BY), default="crew")
    minutes = models.DecimalField(_("minutes"), max_digits=7, decimal_places=2, null=True, blank=True)
    parts_cost = models.DecimalField(_("parts"), max_digits=9, decimal_places=2, null=True, blank=True)
    warranty = models.BooleanField(_("under warranty"), null=True, blank=True)


class Failure(UnitEntry):
    """Something broke or was found broken. ``done`` empty: not mended yet."""

    hours = models.DecimalField(_("engine hours"), max_digits=9, decimal_places=2, null=True, blank=True)
    component = models.CharField(_("component"), max_length=12, choices=_choices(COMPONENTS))
    what = models.CharField(_("what"), max_length=200, blank=True, default="")
    cause = models.CharField(_("cause"), max_length=16, choices=_choices(CAUSES), blank=True, default="")
    found = models.CharField(_("found"), max_length=8, choices=_choices(FOUND), default="in_use")
    done = models.CharField(_("done"), max_length=8, choices=_choices(FAILURE_DONE), blank=True, default="")
    part_hours = models.DecimalField(
        _("hours on the part fitted"), max_digits=9, decimal_places=2, null=True, blank=True
    )
    minutes = models.DecimalField(_("minutes"), max_digits=7, decimal_places=2, null=True, blank=True)
    parts_cost = models.DecimalField(_("parts"), max_digits=9, decimal_places=2, null=True, blank=True)
    downtime_days = models.DecimalField(_("days down"), max_digits=7, decimal_places=2, null=True, blank=True)
    warranty = models.BooleanField(_("under warranty"), null=True, blank=True)
    guard_as_found = models.CharField(
        _("guard as found"), max_length=10, choices=_choices(GUARD_STATES), blank=True, default=""
    )


class Retirement(UnitEntry):
    """The unit left service on this date: sold, scrapped, stolen, lost."""

    why = models.CharField(_("why"), max_length=120, blank=True, default="")


class Withdrawal(models.Model):
    """Sets an earlier entry aside and says why. The entry stays to be seen; answers no longer rest on it."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=12)
    entry_id = models.BigIntegerField()
    why = models.CharField(_("why"), max_length=200)
    author = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+", db_index=False)
    recorded_at = models.DateTimeField(auto_now_add=True)
    client_entry_id = models.UUIDField(null=True, blank=True, unique=True)

    objects = TenantManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "entry_id"], name="withdrawn_once")]

    def __str__(self) -> str:
        return f"{self.kind} {self.entry_id}"


# kind -> model, for withdrawals, exports and the unit's history.
ENTRY_KINDS: dict[str, type[Entry]] = {
    "hours": HoursEntry,
    "crew_hours": CrewHours,
    "move": Assignment,
    "guard": GuardCheck,
    "service": Service,
    "failure": Failure,
    "retirement": Retirement,
}
