"""What to watch out for on the way to the shop and back; usual cautions of the trade, no source claimed."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from fleet.cautions import Caution, Point

LOADING = Caution(
    _("Before anything is loaded: engines cold, plug leads off, fuel caps tight."),
    (
        Point(_("A unit on hold is carried, never started: not even to run the fuel out.")),
        Point(_("Upright and tied down, outdoors or in the open bed: fuel vapor has no place where people sit.")),
        Point(_("Cover blades. Keep hot mufflers away from fuel cans, rags and dry grass.")),
        Point(_("Leave old fuel in the tank for the shop to see, or empty it into a marked can: never on the ground.")),
    ),
)

HANDED_BACK = Caution(
    _("Before it runs again: look it over yourself. This slip says what was seen on its day, not what came after."),
    (
        Point(_("A unit on hold is carried, never started.")),
        Point(_("Guard on with its cutter, line no longer than the cutter leaves it, no fuel leaking.")),
        Point(_("First start outdoors with nobody near: the head stands still at idle, the switch stops the engine.")),
    ),
)

RESTS = Caution(
    _("Not to be run before it has been put right."),
    (
        Point(_("Carried, never started, until the bench has put it right and looked it over.")),
        Point(_("A no brings it back as it is: tag it, keep it apart, plug lead off.")),
    ),
)
