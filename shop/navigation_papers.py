"""Where papers hang: in the top bar, and on the page of a unit's tag."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from fleet.access import ADMINISTRATOR, OWNER
from fleet.sections import NavigationItem, UnitAction, add_navigation, add_unit_action


def add_papers() -> None:
    """Called from ``ShopConfig.ready``."""
    seldom_for = frozenset({OWNER, ADMINISTRATOR})
    add_navigation(NavigationItem(_("Papers"), "papers", "see_fleet", 50, seldom_for=seldom_for))
    add_unit_action(UnitAction("unit_tag", _("Print its label"), "unit_label", "manage_tags"))
