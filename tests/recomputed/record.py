"""The model record worked out again: stretches of every component of every model, and the posterior of its wear."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from tests.recomputed.components import Stretch, stretches
from tests.recomputed.guards import Guard, habits, looks_of
from tests.recomputed.hours import Line, line_of
from tests.recomputed.pooled import Posterior, Rows, cut, sample
from tests.recomputed.reading import Party
from tests.recomputed.usage import crew_shares, learn


@dataclass
class Fleet:
    """Every unit of every contractor with its guard's chance, and stretches by (model, component)."""

    models: list[str]
    guards: dict[int, Guard]
    lines: dict[int, Line]
    stretches: dict[tuple[str, str], list[Stretch]]

    def rows(self, component: str, *, found_only: bool = False) -> Rows:
        """The component's rows, with each crew's mean chance less the fleet's as second condition."""
        hours: dict[tuple[str, str], float] = defaultdict(float)
        off: dict[tuple[str, str], float] = defaultdict(float)
        found = [self.stretches[m, component] for m in self.models]
        for s in (s for mine in found for s in mine):
            shift = s.at - s.entry
            hours[s.unit.contractor, s.crew] += s.last - s.entry
            off[s.unit.contractor, s.crew] += (s.last - s.entry) * self.guards[id(s.unit)].mean(s.at, shift + s.last)
        mean = sum(off.values()) / max(sum(hours.values()), 1e-9)
        return cut(found, self.guards, {c: off[c] / hours[c] - mean for c in hours}, found_only=found_only)

    def posterior(self, component: str, *, found_only: bool = False) -> Posterior:
        return sample(self.rows(component, found_only=found_only))


def fleet_of(parties: dict[str, Party], components: tuple[str, ...]) -> Fleet:
    found: dict[tuple[str, str], list[Stretch]] = defaultdict(list)
    guards: dict[int, Guard] = {}
    everyone: dict[int, Line] = {}
    models = set()
    for party in parties.values():
        shares = crew_shares(party)
        usual = learn(party, shares)
        lines = {id(u): line_of(u, usual, [s for s in shares if s.unit is u]) for u in party.units}
        looks = {id(u): looks_of(u, lines[id(u)]) for u in party.units}
        learned = habits(party, looks)
        for unit in party.units:
            models.add(unit.model)
            everyone[id(unit)] = lines[id(unit)]
            guards[id(unit)] = Guard(unit, lines[id(unit)], looks[id(unit)], learned)
            for component in components:
                found[unit.model, component] += stretches(unit, lines[id(unit)], component)
    return Fleet(sorted(models), guards, everyone, found)
