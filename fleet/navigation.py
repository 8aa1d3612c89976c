"""Which pages stand in the top bar, for whom, in which order. Filled in once, when the portal starts."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from fleet.access import ADMINISTRATOR, CREW_BOSS, MANAGER, OWNER, TECHNICIAN
from fleet.navigation_crew import CREW_PAGES
from fleet.navigation_owner import OWNER_PAGES
from fleet.sections import NavigationItem, add_navigation

_SHOP = frozenset({TECHNICIAN, MANAGER})

OFFICE_PAGES = (
    NavigationItem(_("Units"), "units", "see_fleet", 40),
    NavigationItem(_("Model record"), "model_records", "see_record", 50, seldom_for=frozenset({OWNER})),
    NavigationItem(_("Catalog"), "catalog", "see_fleet", 60, frozenset({CREW_BOSS}), _SHOP | {OWNER}),
    NavigationItem(_("Recalls"), "recalls", "see_fleet", 65, frozenset({CREW_BOSS}), _SHOP | {OWNER}),
    NavigationItem(_("People"), "people", "manage_people", 70, seldom_for=_SHOP | {OWNER}),
    NavigationItem(_("Files"), "import", "import_files", 80, frozenset({TECHNICIAN}), _SHOP | {OWNER, ADMINISTRATOR}),
    NavigationItem(_("Portal"), "portal", "manage_portal", 90),
)


def add_pages() -> None:
    """Called from ``FleetConfig.ready``."""
    for item in (*CREW_PAGES, *OWNER_PAGES, *OFFICE_PAGES):
        add_navigation(item)
