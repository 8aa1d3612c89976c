"""Who uses the portal: shops, contractors, the arrangements between them, crews, people and their roles."""

from __future__ import annotations

import datetime as dt
import secrets
from decimal import Decimal

from django.contrib.auth.models import AbstractUser
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext_lazy as _

from fleet.models.tenancy import TenantManager

month_day = RegexValidator(r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$", _("Write the date as MM-DD, for example 03-15."))


def new_token() -> str:
    """An address nobody can guess: 128 bits, safe in a URL."""
    return secrets.token_urlsafe(16)


class User(AbstractUser):
    """A person. E-mail may be empty: crews sign in with the tag of one of their units and a PIN."""

    THEMES = [("", _("as the device")), ("light", _("light")), ("dark", _("dark")), ("outdoors", _("outdoors"))]
    display_name = models.CharField(_("name"), max_length=80, blank=True)
    language = models.CharField(_("language"), max_length=8, default="en-us")
    theme = models.CharField(_("look"), max_length=10, choices=THEMES, blank=True, default="")
    # Goes up by one to end every session of this person, on whatever device.
    session_round = models.PositiveIntegerField(default=0)

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """Part of every session: a session that carries another one is signed out."""
        said = f"{self.session_round}:{self.password}"
        return salted_hmac("fleet.session", said, secret=secret, algorithm="sha256").hexdigest()

    def __str__(self) -> str:
        return self.display_name or self.username


class Shop(models.Model):
    """A small-engine shop that keeps a bench."""

    name = models.CharField(_("shop"), max_length=80, unique=True)
    time_zone = models.CharField(_("time zone"), max_length=40, default="America/New_York")

    def __str__(self) -> str:
        return self.name


class Contractor(models.Model):
    """A landscaping contractor: the tenant that owns units and their history, with its settings."""

    name = models.CharField(_("contractor"), max_length=80, unique=True)
    time_zone = models.CharField(_("time zone"), max_length=40, default="America/New_York")
    season_opens = models.CharField(_("season opens"), max_length=5, default="03-15", validators=[month_day])
    season_closes = models.CharField(_("season closes"), max_length=5, default="11-30", validators=[month_day])
    # Seven characters, Monday first: 1 worked, 0 not.
    working_days = models.CharField(max_length=7, default="1111100", validators=[RegexValidator(r"^[01]{7}$")])
    labour_rate = models.DecimalField(_("labor rate, an hour"), max_digits=8, decimal_places=2, default=Decimal("90"))
    downtime_per_day = models.DecimalField(
        _("cost of a day without the unit"), max_digits=8, decimal_places=2, default=Decimal("60")
    )
    spare_on_trailer = models.BooleanField(_("spare on the trailer"), default=False)
    risk_limit = models.DecimalField(
        _("risk accepted between two services"),
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.10"),
        validators=[MinValueValidator(Decimal("0.001")), MaxValueValidator(Decimal("0.9"))],
    )
    confidence_gate = models.DecimalField(
        _("how sure before an interval shorter than the manual's is used"),
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.65"),
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal("0.999"))],
    )
    # Opted in: every second unit at half the interval, so that damage which one constant interval hides shows.
    stagger = models.BooleanField(_("service every second unit at half the interval to learn more"), default=False)
    discount_rate = models.DecimalField(
        _("discount rate a year"), max_digits=4, decimal_places=3, default=Decimal("0.08")
    )
    # Where a model's own resale figure is not known.
    resale = models.DecimalField(
        _("share of price kept after three seasons"),
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.15"),
        validators=[MinValueValidator(Decimal("0")), MaxValueValidator(Decimal("1"))],
    )
    order_by = models.CharField(
        _("pre-season order closes"), max_length=5, blank=True, default="", validators=[month_day]
    )
    invented = models.BooleanField(default=False, help_text=_("Demo data, invented; every screen says so."))

    def __str__(self) -> str:
        return self.name


class Arrangement(models.Model):
    """A shop looks after a contractor's units from one date until another (open end: still running)."""

    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="arrangements")
    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="arrangements")
    from_date = models.DateField()
    until = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["shop", "contractor", "from_date"], name="arrangement_once")]

    def __str__(self) -> str:
        return f"{self.shop} / {self.contractor}"


class Crew(models.Model):
    """One trailer's people, as far as hours, exposure and costs go."""

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="crews")
    name = models.CharField(_("crew"), max_length=60)
    # Compared without case and spaces, so that "North " in a file is the crew "north" on a screen.
    name_key = models.CharField(max_length=60)

    objects = TenantManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["contractor", "name_key"], name="crew_once")]

    def __str__(self) -> str:
        return self.name


class Role(models.TextChoices):
    """What a person may do, decided in ``access.py`` and nowhere else."""

    OWNER = "owner", _("contractor owner")
    CREW_BOSS = "crew_boss", _("crew boss")
    TECHNICIAN = "technician", _("bench technician")
    MANAGER = "manager", _("service manager")
    ADMINISTRATOR = "administrator", _("administrator")


CONTRACTOR_ROLES = frozenset({Role.OWNER, Role.CREW_BOSS})
SHOP_ROLES = frozenset({Role.TECHNICIAN, Role.MANAGER})


def in_office(day: dt.date) -> models.Q:
    """Roles that are held on a day: a role ends with the start of the day it is ended on."""
    return models.Q(ended_on__isnull=True) | models.Q(ended_on__gt=day)


class Membership(models.Model):
    """One role of one person at one organization. A crew boss belongs to a crew; an administrator to the portal."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(_("role"), max_length=14, choices=Role.choices)
    contractor = models.ForeignKey(Contractor, null=True, blank=True, on_delete=models.CASCADE)
    shop = models.ForeignKey(Shop, null=True, blank=True, on_delete=models.CASCADE)
    crew = models.ForeignKey(Crew, null=True, blank=True, on_delete=models.CASCADE)
    # Argon2 hash of the PIN that, with the tag of one of the crew's units, signs this person in.
    pin = models.CharField(max_length=128, blank=True, default="")
    ended_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="membership_organization",
                condition=(
                    models.Q(role__in=["owner"], contractor__isnull=False, shop__isnull=True, crew__isnull=True)
                    | models.Q(role="crew_boss", contractor__isnull=False, shop__isnull=True, crew__isnull=False)
                    | models.Q(role__in=["technician", "manager"], shop__isnull=False, contractor__isnull=True)
                    | models.Q(role="administrator", shop__isnull=True, contractor__isnull=True, crew__isnull=True)
                ),
            )
        ]

    def __str__(self) -> str:
        return f"{self.user} {self.role}"

    def held_on(self, day: dt.date) -> bool:
        """The same as ``in_office``, of one row."""
        return self.ended_on is None or self.ended_on > day


class Invitation(models.Model):
    """An offer of a role, taken up once by whoever holds its address, until it expires or is taken back."""

    token = models.CharField(max_length=32, unique=True, default=new_token)
    role = models.CharField(_("role"), max_length=14, choices=Role.choices)
    contractor = models.ForeignKey(Contractor, null=True, blank=True, on_delete=models.CASCADE)
    shop = models.ForeignKey(Shop, null=True, blank=True, on_delete=models.CASCADE)
    crew = models.ForeignKey(Crew, null=True, blank=True, on_delete=models.CASCADE)
    email = models.EmailField(_("e-mail"), blank=True)
    invited_name = models.CharField(_("name"), max_length=80, blank=True)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    accepted_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    accepted_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.role} {self.invited_name}"
