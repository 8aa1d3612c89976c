"""The portal's choice of an interval judged by what the record says, worked out again.

Costs are flat near their least, so the interval itself may be another; what it costs may be 3 % more, and where a limit
decides (risk, or how sure it is to be cheaper) a tenth of the limit's own is left for the two ways to differ.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from tests.recomputed.components import TASK_OF, Stretch, stretches
from tests.recomputed.pooled import Posterior
from tests.recomputed.reading import Party
from tests.recomputed.record import Fleet
from tests.recomputed.wear import LEAST_COST, Life, Study, cells_of, event_costs, life

SHORTEST = 0.05  # of the manual's: looks are never asked for more often
LOOKS = ("mounts", "stop_switch", "clutch", "head")
COMPONENT_OF = {task: component for component, task in TASK_OF.items()}


class Judge:
    """Everything learned about intervals on one day, worked out when asked for and kept."""

    def __init__(self, parties: dict[str, Party], fleet: Fleet) -> None:
        self.parties, self.fleet = parties, fleet
        self.posterior = cache(fleet.posterior)
        self.hidden = cache(lambda component: fleet.posterior(component, found_only=True))
        self._studied = cache(self._study)
        self._stretches: dict[str, list[list[Stretch]]] = {}
        self._lives: dict[tuple[str, int, float, float], Life] = {}

    def failures(self, component: str) -> list[int]:
        """Each model's failures that the intervals of a component rest on."""
        if component in LEAST_COST:
            return [sum(s.failed and s.since is not None for s in mine) for mine in self._by_age(component)]
        unseen = component in LOOKS
        found = [self.fleet.stretches[m, component] for m in self.fleet.models]
        return [sum(s.failed and not (unseen and s.exact) for s in mine) for mine in found]

    def _by_age(self, component: str) -> list[list[Stretch]]:
        if component not in self._stretches:
            rows: dict[str, list[Stretch]] = {m: [] for m in self.fleet.models}
            for unit in (unit for party in self.parties.values() for unit in party.units):
                rows[unit.model] += stretches(unit, self.fleet.lines[id(unit)], component, by_age=True)
            self._stretches[component] = list(rows.values())
        return self._stretches[component]

    def _study(self, component: str) -> tuple[Study, list[float]]:
        task, models = TASK_OF[component], self.fleet.models
        longest = [max(p.limits[m][task].hours or 0.0 for p in self.parties.values() if m in p.limits) for m in models]
        cells, _failures = cells_of(self._by_age(component), longest, self.fleet.guards)
        return Study(cells, longest), longest

    def _life(self, component: str, g: int, off: float, every: float) -> Life:
        key = component, g, off, every
        if key not in self._lives:
            study, longest = self._studied(component)
            self._lives[key] = life(study.draws(g, off), longest[g], every)
        return self._lives[key]

    def chances(self, component: str, model: str, off: float, hours: tuple[float, ...]) -> list[float]:
        """Chance of a failure from one service or look to the next at these intervals."""
        g = self.fleet.models.index(model)
        if component in LEAST_COST:
            return [self._life(component, g, off, every).risk for every in hours]
        if component in LOOKS:
            mean = self._mean_unseen(component, g, off)
            return [float(-np.expm1(-every / mean)) for every in hours]
        return [self._blocked(self.posterior(component), g, off, every) for every in hours]

    def _blocked(self, drawn: Posterior, g: int, off: float, hours: float) -> float:
        shape, scale = np.exp(drawn.log_shape[:, g]), np.exp(drawn.log_scale[:, g])
        ratio = float(np.exp(off * drawn.coef[:, 0].mean()))
        return float(np.mean(-np.expm1(-((hours / scale) ** shape) * ratio)))

    def _mean_unseen(self, component: str, g: int, off: float) -> float:
        drawn = self.hidden(component)
        shape = float(np.exp(drawn.log_shape[:, g].mean()))
        return drawn.mean_life(g) * float(np.exp(-off * drawn.coef[:, 0].mean() / shape))

    def complaint(self, component: str, model: str, whose: Party, chosen: float, off: float = 0.0) -> str | None:
        """What is wrong with the interval chosen for one contractor; None: nothing."""
        manual = whose.limits[model][TASK_OF[component]].hours
        assert manual is not None
        g = self.fleet.models.index(model)
        if not sum(self.failures(component)):
            return None if chosen == manual else f"every {chosen} h, though nothing ever failed"
        limit = float(whose.settings["risk_limit"])
        if component in LEAST_COST:
            return self._dear(component, g, whose, manual, chosen, off)
        if component in LOOKS:
            # Unseen for at most half the limit of the hours, failures at a steady rate between two looks.
            mean = self._mean_unseen(component, g, off)
            wanted = float(brentq(lambda x: 1 + np.expm1(-x) / x - limit / 2, 1e-6, 5.0)) * mean
        else:
            drawn = self.posterior(component)
            tried = np.linspace(SHORTEST, 1, 96) * manual
            chance = np.array([self._blocked(drawn, g, off, t) for t in tried])
            wanted = float(tried[chance <= limit].max(initial=tried[0]))
        wanted = min(max(wanted, SHORTEST * manual), manual)
        return None if abs(chosen / wanted - 1) <= 0.1 else f"every {chosen} h, worked out again {wanted:.1f} h"

    def _dear(self, component: str, g: int, whose: Party, manual: float, chosen: float, off: float) -> str | None:
        planned, failure = event_costs(self.parties, whose, component)
        limit, gate = float(whose.settings["risk_limit"]), float(whose.settings["confidence_gate"])

        def at(every: float) -> tuple[NDArray[np.float64], float]:
            found = self._life(component, g, off, every)
            return found.cost(planned, failure), found.risk

        tried = [at(float(every)) for every in (*np.geomspace(0.1, 1, 16) * manual, manual)]
        here, risk = at(chosen)
        at_manual, risk_at_manual = tried[-1]
        safest = min(r for _rates, r in tried)
        least = min(float(rates.mean()) for rates, r in tried if r <= 0.9 * limit or r == safest)
        sure = float((here < at_manual).mean()) if chosen < manual else 1.0
        told = f"every {chosen} h: cost {here.mean():.4f}, least {least:.4f}, risk {risk:.3f}, cheaper {sure:.2f}"
        if risk > 1.1 * limit + 0.01 and chosen > 0.11 * manual:
            return "too risky: " + told
        if chosen == manual:
            # The manual's stands unless something shorter is surely cheaper.
            better = [r for r, _risk in tried if r.mean() < 0.97 * at_manual.mean()]
            unsure = all(float((r < at_manual).mean()) < gate + 0.1 for r in better)
            return None if unsure else "the manual's stands though shorter is cheaper: " + told
        if risk_at_manual > 0.9 * limit:
            kept = here.mean() <= 1.03 * least or risk > 0.85 * limit
            return None if kept else "shorter than the risk asks for: " + told
        if sure < gate - 0.1:
            return "not surely cheaper than the manual's: " + told
        return None if here.mean() <= 1.03 * least else "dearer than need be: " + told
