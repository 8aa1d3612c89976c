"""The pages of crews in the top bar; the shop's people reach them from a unit's page."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from fleet.access import ADMINISTRATOR, MANAGER, OWNER, TECHNICIAN
from fleet.sections import NavigationItem

_SHOP = frozenset({TECHNICIAN, MANAGER})
# They may enter what a crew enters, and seldom do.
_OFFICE = frozenset({OWNER, ADMINISTRATOR})

CREW_PAGES = (
    NavigationItem(_("Ready list"), "ready", "see_fleet", 10),
    NavigationItem(_("Hours"), "hours", "log_work", 20, _SHOP, _OFFICE),
    NavigationItem(_("Guard walk"), "guard_walk", "log_work", 25, _SHOP, _OFFICE),
    NavigationItem(_("Report a fault"), "report_fault", "log_work", 30, _SHOP, _OFFICE),
)
