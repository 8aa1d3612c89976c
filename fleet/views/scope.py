"""Whose units a page of the crew's is about: contractor and crew chosen among those in sight."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

from django.http import Http404, HttpRequest

from fleet.access import CREW_BOSS
from fleet.clock import today_at
from fleet.models import Contractor, Crew
from fleet.views.asking import whole_number

ALL = "all"


@dataclass(frozen=True)
class Scope:
    """Contractors and crews a person may choose from, and what is chosen; None: all of them."""

    contractors: list[Contractor]
    crews: list[Crew]
    contractor: Contractor | None
    crew: Crew | None
    today: dt.date
    # Too many units in sight to be listed together: one contractor, or one crew, is always chosen.
    one_at_a_time: bool = False
    one_crew_at_a_time: bool = False

    def narrowed(self) -> Scope:
        """The same choice, settled on the first contractor."""
        first = self.contractors[0]
        crews = [crew for crew in self.crews if crew.contractor_id == first.pk]
        return replace(self, contractor=first, crews=crews, today=today_at(first), one_at_a_time=True)

    def narrowed_to_crew(self) -> Scope:
        """The same choice, settled on the contractor's first crew."""
        return replace(self, crew=self.crews[0], one_crew_at_a_time=True)

    @property
    def chosen(self) -> list[Contractor]:
        return [self.contractor] if self.contractor is not None else self.contractors

    @property
    def crew_id(self) -> int | None:
        return None if self.crew is None else self.crew.pk

    @property
    def one_contractor(self) -> bool:
        return len(self.contractors) == 1

    def name(self) -> str:
        """Whose list it is, for headings and files; empty where it is everybody's in sight."""
        if self.crew is not None:
            return self.crew.name
        return self.contractor.name if self.contractor is not None else ""


def scope_of(request: HttpRequest, *, one_crew: bool = False) -> Scope:
    """Read the choice from the address. A crew boss starts on the own crew; ``one_crew`` always settles on one."""
    access = request.access  # type: ignore[attr-defined]
    contractors = list(access.contractors())
    crews = list(Crew.objects.filter(contractor__in=contractors).order_by("contractor__name", "name", "pk"))
    asked = request.GET.get("contractor") or request.POST.get("contractor")
    contractor = _pick(contractors, asked)
    wanted = request.GET.get("crew") or request.POST.get("crew")
    crew = None if wanted == ALL else _pick(crews, wanted)
    if crew is not None and contractor is not None and crew.contractor_id != contractor.pk:
        crew = None  # another contractor was chosen while a crew of the first one still stood in the form
    if wanted is None and access.roles == {CREW_BOSS} and access.crew_ids:
        crew = next((c for c in crews if c.pk in access.crew_ids), None)
    if contractor is None and len(contractors) == 1:
        contractor = contractors[0]
    offered = [c for c in crews if contractor is None or c.contractor_id == contractor.pk]
    if one_crew and crew is None and offered:
        crew = offered[0]
    if crew is not None and one_crew:
        contractor = next(c for c in contractors if c.pk == crew.contractor_id)
    # Of several contractors at once: the reader's own day.
    day = access.today if contractor is None else today_at(contractor)
    return Scope(contractors, offered, contractor, crew, day)


def _pick(rows: list, asked: str | None) -> Any:
    if not asked or asked == ALL:
        return None
    pk = whole_number(asked)
    for row in rows:
        if row.pk == pk:
            return row
    raise Http404
