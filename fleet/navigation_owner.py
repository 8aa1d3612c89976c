"""The owner's pages in the top bar."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from fleet.access import ADMINISTRATOR, OWNER
from fleet.sections import NavigationItem

# An administrator who is nobody's owner reaches them by address; the top bar stays short.
_PORTAL = frozenset({ADMINISTRATOR})

OWNER_PAGES = (
    NavigationItem(_("Crew costs"), "crew_costs", "see_costs", 32, not_for=_PORTAL),
    NavigationItem(_("Keep or replace"), "reviews", "see_costs", 33, not_for=_PORTAL),
    NavigationItem(_("Season budget"), "season_budget", "see_costs", 34, not_for=_PORTAL),
    # Once a year: under *More*, and by a button on each of the three.
    NavigationItem(
        _("Annual report"), "annual_report", "see_costs", 36, not_for=_PORTAL, seldom_for=frozenset({OWNER})
    ),
)
