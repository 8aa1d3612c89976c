"""What following *Keep or replace* costs beside the usual rules of owners, where the truth is known.

``python -m tests.benchmarks.study_advice [CONTRACTORS [SEED [SETTING ...]]]``. In each of 12 settings so many
contractors are drawn; each keeps the same places going for 20 seasons by every rule in turn, on the same units. What
the advice knows and what it does not: :mod:`tests.fleet.upkeep.advice_study`.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.stats import t

#: Largest share by which following the advice may cost more than a rule, at the upper 95 % limit.
GOAL = 0.01


@dataclass(frozen=True)
class Difference:
    """Cost of the advice over a rule's as a share of that, with 95 % limits over contractors."""

    rule: str
    mean: float
    low: float
    high: float

    @property
    def met(self) -> bool:
        return self.high <= GOAL


def differences(rows: list[dict[str, float]]) -> list[Difference]:
    """Paired over contractors: each contractor's difference beside the mean cost of the rule."""
    found = []
    for rule in rows[0]:
        if rule == "advice":
            continue
        by_rule = np.array([row[rule] for row in rows])
        share = (np.array([row["advice"] for row in rows]) - by_rule) / by_rule.mean()
        half = t.ppf(0.975, len(rows) - 1) * share.std(ddof=1) / np.sqrt(len(rows))
        mean = float(share.mean())
        found.append(Difference(rule, mean, mean - half, mean + half))
    return found


def studied(contractors: int, seed: int, only: list[str]) -> Iterator[tuple[str, float, list[Difference]]]:
    """Name, mean cost a place by the advice, and the differences of each setting."""
    from tests.fleet.upkeep.advice_study import costs
    from tests.fleet.upkeep.advice_world import SETTINGS

    for setting in SETTINGS:
        if only and setting.name not in only:
            continue
        rows = [costs(setting, seed + number) for number in range(contractors)]
        yield setting.name, float(np.mean([row["advice"] for row in rows])), differences(rows)


def main(contractors: int = 8, seed: int = 1, only: list[str] | None = None) -> None:
    from tests.fleet.upkeep.advice_study import RULES

    print(f"Cost of following the advice over a rule's, % (95 % limits), {contractors} contractors a setting")
    print(f"{'':22s}" + "".join(f"{rule:>24s}" for rule in RULES))
    for name, cost, found in studied(contractors, seed, only or []):
        cells = [f"{100 * d.mean:+.1f} ({100 * d.low:+.1f}, {100 * d.high:+.1f}){'' if d.met else ' *'}" for d in found]
        verdict = "met" if all(d.met for d in found) else f"NOT MET (* above {100 * GOAL:g} %)"
        print(f"{name:22s}" + "".join(f"{cell:>24s}" for cell in cells) + f"  {cost:7,.0f}  {verdict}", flush=True)


if __name__ == "__main__":
    os.environ.setdefault("SECRET_KEY", "study")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    import django

    django.setup()
    start = time.perf_counter()
    words = sys.argv[1:]
    main(*(int(word) for word in words[:2]), only=words[2:])
    print(f"{time.perf_counter() - start:.0f} s")
