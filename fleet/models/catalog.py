"""Models of trimmer: identity for the whole portal, terms and intervals for whoever entered them, recall notices."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.people import Contractor, Shop, User
from fleet.vocabulary import TASKS


class TrimmerModel(models.Model):
    """A maker's model. Only its name is portal-wide; what it costs and needs is in terms and intervals."""

    maker = models.CharField(_("maker"), max_length=60)
    name = models.CharField(_("model"), max_length=60)
    # Compared without case, spaces and hyphens.
    key = models.CharField(max_length=130, unique=True)

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"


def _once(name: str, *fields: str) -> list[models.BaseConstraint]:
    """One row for each scope: three partial constraints, since SQLite counts two NULLs as different."""
    contractor, shop = models.Q(contractor__isnull=False), models.Q(shop__isnull=False)
    return [
        models.UniqueConstraint(fields=[*fields, "contractor"], condition=contractor, name=f"{name}_contractor"),
        models.UniqueConstraint(fields=[*fields, "shop"], condition=shop & ~contractor, name=f"{name}_shop"),
        models.UniqueConstraint(fields=[*fields], condition=~shop & ~contractor, name=f"{name}_portal"),
    ]


class Scope(models.Model):
    """Whose figure a row holds: a contractor's, else a shop's, else (both empty) the portal's. Nearest wins."""

    contractor = models.ForeignKey(Contractor, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    shop = models.ForeignKey(Shop, null=True, blank=True, on_delete=models.CASCADE, related_name="+")

    class Meta:
        abstract = True


class ModelTerms(Scope):
    """Price and figures of a model as one party holds them. Empty means not known to that party."""

    VIBRATION_SOURCES = [
        ("declared", _("declared by the maker")),
        ("measured", _("measured")),
        ("planning", _("planning figure")),
    ]
    model = models.ForeignKey(TrimmerModel, on_delete=models.CASCADE, related_name="terms")
    displacement_cc = models.DecimalField(_("displacement, cc"), max_digits=5, decimal_places=1, null=True, blank=True)
    price = models.DecimalField(_("price new"), max_digits=9, decimal_places=2, null=True, blank=True)
    resale_share_per_season = models.DecimalField(
        _("share of price kept each season"), max_digits=5, decimal_places=4, null=True, blank=True
    )
    warranty_months = models.PositiveSmallIntegerField(_("warranty, months"), null=True, blank=True)
    # {warranty group: months} where a group differs from warranty_months.
    warranty_by_group = models.JSONField(default=dict, blank=True)
    burn_litres_per_hour = models.DecimalField(
        _("fuel burnt, liters an hour"), max_digits=5, decimal_places=3, null=True, blank=True
    )
    vibration_ms2 = models.DecimalField(_("vibration, m/s²"), max_digits=5, decimal_places=2, null=True, blank=True)
    vibration_source = models.CharField(
        _("where the vibration figure is from"), max_length=10, choices=VIBRATION_SOURCES, blank=True, default=""
    )

    # From then on the maker supplies no parts: a unit of it is not worth a big repair.
    parts_end_on = models.DateField(_("maker's parts end on"), null=True, blank=True)

    class Meta:
        constraints = _once("terms", "model")

    def __str__(self) -> str:
        return f"{self.model}"


class TaskInterval(Scope):
    """How often a task falls due on a model, in hours and months, whichever comes first.

    ``hours`` and ``months`` each stand on their own: empty with ``*_given`` false falls back to the next scope and at
    last to common practice; empty with ``*_given`` true means the task has no limit of that kind.
    """

    model = models.ForeignKey(TrimmerModel, on_delete=models.CASCADE, related_name="intervals")
    task = models.CharField(_("task"), max_length=12, choices=[(t.key, t.label) for t in TASKS.values()])
    hours = models.DecimalField(_("hours"), max_digits=7, decimal_places=1, null=True, blank=True)
    hours_given = models.BooleanField(default=False)
    months = models.PositiveSmallIntegerField(_("months"), null=True, blank=True)
    months_given = models.BooleanField(default=False)
    source = models.CharField(
        _("source"),
        max_length=8,
        choices=[("maker", _("maker's manual")), ("practice", _("common practice"))],
        default="maker",
    )

    class Meta:
        constraints = _once("interval", "model", "task")

    def __str__(self) -> str:
        return f"{self.model} {self.task}"


class RecallNotice(models.Model):
    """A maker's or agency's notice: which serials of a model, what it says, where it was read."""

    model = models.ForeignKey(TrimmerModel, on_delete=models.CASCADE, related_name="recalls")
    # One per line: a serial, or FIRST - LAST for a run; empty: every unit of the model.
    serials = models.TextField(_("serials"), blank=True)
    text = models.TextField(_("what it says"))
    source = models.CharField(_("where it was published"), max_length=200)
    issued_on = models.DateField(_("issued on"))
    ended_on = models.DateField(_("ended on"), null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.model} {self.issued_on}"


class CatalogChange(Scope):
    """What somebody changed in the catalog, and when: figures before and after. Added to, never edited."""

    WHAT = [
        ("model", _("model added")),
        ("terms", _("figures")),
        ("interval", _("interval")),
        ("recall", _("recall notice")),
    ]
    model = models.ForeignKey(TrimmerModel, on_delete=models.CASCADE, related_name="changes")
    what = models.CharField(max_length=8, choices=WHAT)
    task = models.CharField(max_length=12, blank=True, default="")
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    author = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"{self.model} {self.what} {self.recorded_at:%Y-%m-%d}"
