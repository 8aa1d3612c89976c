"""The pages of crews in the top bar; the shop's people reach them from a unit's page."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from fleet.access import MANAGER, TECHNICIAN
from fleet.sections import NavigationItem

_SHOP = frozenset({TECHNICIAN, MANAGER})

CREW_PAGES = (
    NavigationItem(_("Ready list"), "ready", "see_fleet", 10),
    NavigationItem(_("Hours"), "hours", "log_work", 20, not_for=_SHOP),
    NavigationItem(_("Guard walk"), "guard_walk", "log_work", 25, not_for=_SHOP),
    NavigationItem(_("Report a fault"), "report_fault", "log_work", 30, not_for=_SHOP),
)
