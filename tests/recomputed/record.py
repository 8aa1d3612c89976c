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

    def rows(self, component: str) -> list[Rows]:
        """The component's rows, model by model, with each crew's mean chance less the fleet's as second condition."""
        hours: dict[tuple[str, str], float] = defaultdict(float)
        off: dict[tuple[str, str], float] = defaultdict(float)
        everything = [s for m in self.models for s in self.stretches[m, component]]
        zero = defaultdict(float)
        plain = cut(everything, self.guards, zero)  # type: ignore[arg-type]
        for start, end, chance, of in zip(plain.start, plain.end, plain.chance, plain.of, strict=True):
            s = everything[int(of)]
            hours[s.unit.contractor, s.crew] += end - start
            off[s.unit.contractor, s.crew] += (end - start) * chance
        mean = sum(off.values()) / max(sum(hours.values()), 1e-9)
        share = {crew: off[crew] / hours[crew] - mean for crew in hours}
        for s in everything:
            share.setdefault((s.unit.contractor, s.crew), 0.0)
        return [cut(self.stretches[m, component], self.guards, share) for m in self.models]

    def posterior(self, component: str, draws: int = 12_000) -> Posterior:
        return sample(self.rows(component), draws=draws)


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
