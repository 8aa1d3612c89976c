"""Which pages stand in the top bar, for whom, in which order. Filled in once, when the portal starts."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from fleet.access import CREW_BOSS, TECHNICIAN
from fleet.navigation_crew import CREW_PAGES
from fleet.navigation_owner import OWNER_PAGES
from fleet.sections import NavigationItem, add_navigation

OFFICE_PAGES = (
    NavigationItem(_("Units"), "units", "see_fleet", 40),
    NavigationItem(_("Model record"), "model_records", "see_record", 50),
    NavigationItem(_("Catalog"), "catalog", "see_fleet", 60, not_for=frozenset({CREW_BOSS})),
    NavigationItem(_("Recalls"), "recalls", "see_fleet", 65, not_for=frozenset({CREW_BOSS})),
    NavigationItem(_("People"), "people", "manage_people", 70),
    NavigationItem(_("Files"), "import", "import_files", 80, not_for=frozenset({TECHNICIAN})),
    NavigationItem(_("Portal"), "portal", "manage_portal", 90),
)


def add_pages() -> None:
    """Called from ``FleetConfig.ready``."""
    for item in (*CREW_PAGES, *OWNER_PAGES, *OFFICE_PAGES):
        add_navigation(item)
