"""Minutes to the cause: our order against the table's own. ``python -m tests.benchmarks.bench_first_checks``.

Every order compared puts safety first. The table's order is tried twice: put off as far as the rules demand (each check
after its prerequisites, what opens the carburetor last), and as written, where a check made before its prerequisites
proves nothing yet and is made again after them. Shops' causes are drawn about the table as loosely as the table claims
to know them (worth 15 jobs): a Dirichlet draw for each shop, with a cause not in the table among them.

How much can be saved at all: ``new`` is already the best of all allowed orders for what is known before the first job
(found exactly; tests try every order of the short symptoms), and ``best`` is that of somebody who knows each shop's own
shares. No order under the same
rules can save more than those two, before and after learning. Each check of the table proves one cause, so that a clear
answer changes the odds of the others alike and the best next check is the next of the best order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from shop.first_checks import NONE, PRIOR_JOBS, Symptom, best_order, chances, symptoms

JOBS = 50
LATER = (15, 50, 200, 1000)
SHOPS = 200


def table_order(symptom: Symptom) -> tuple[str, ...]:
    """The table's order under the rules: each check is put off only as far as they demand."""
    order: list[str] = []

    def take(key: str) -> None:
        if key not in order:
            for before in symptom.cause(key).after:
                take(before)
            order.append(key)

    opened = [c for c in symptom.causes if c.opens_carburetor]
    for group in ([c for c in symptom.causes if c.safety and c not in opened], symptom.causes):
        for cause in group:
            if cause not in opened:
                take(cause.key)
    for cause in opened:
        take(cause.key)
    return tuple(order)


def as_written(symptom: Symptom) -> tuple[str, ...]:
    """The table's order with safety first and nothing put off: early checks come twice, the first time in vain."""
    listed = [c for c in symptom.causes if c.safety] + [c for c in symptom.causes if not c.safety]
    order: list[str] = []
    early: list[str] = []
    for cause in listed:
        order.append(cause.key)
        if not set(cause.after) <= set(order) - set(early):
            early.append(cause.key)
        while again := next((k for k in early if set(symptom.cause(k).after) <= set(order) - set(early)), None):
            early.remove(again)
            order.append(again)
    return tuple(order)


def minutes_along(symptom: Symptom, order: tuple[str, ...], truth: Mapping[str, float]) -> float:
    """Mean minutes of a job whose cause is drawn from ``truth``; a cause not in the table takes all the checks."""
    spent, total = 0.0, 0.0
    for at, key in enumerate(order):
        spent += symptom.cause(key).minutes
        if key not in order[at + 1 :]:
            total += truth[key] * spent
    return total + truth[NONE] * spent


@dataclass(frozen=True)
class Row:
    """Mean minutes over shops: the table's order as written and under the rules, ours, the best for each shop."""

    written: float
    table: float
    new: float
    learned: float
    best: float

    def saved(self, ours: str, of: str) -> float:
        return 1 - float(getattr(self, ours)) / float(getattr(self, of))


def study(shops: int = SHOPS, seed: int = 1) -> dict[str, Row]:
    rng = np.random.default_rng(seed)
    found = {}
    for name, symptom in symptoms().items():
        prior = chances(symptom, {})
        keys, rows = list(prior), []
        at_first = best_order(symptom, prior)
        for _ in range(shops):
            shares = rng.dirichlet([PRIOR_JOBS * prior[k] for k in keys])
            truth = dict(zip(keys, shares.tolist(), strict=True))
            seen = dict(zip(keys, rng.multinomial(JOBS, shares).tolist(), strict=True))
            learned = best_order(symptom, chances(symptom, seen))
            orders = (as_written(symptom), table_order(symptom), at_first, learned, best_order(symptom, truth))
            rows.append([minutes_along(symptom, order, truth) for order in orders])
        found[name] = Row(*np.mean(rows, axis=0).tolist())
    return found


def savings_by_jobs(shops: int = SHOPS, seed: int = 2) -> dict[int, float]:
    """Mean saving on the table's order under the rules, after so many findings of each symptom."""
    rng = np.random.default_rng(seed)
    saved: dict[int, list[float]] = {jobs: [] for jobs in LATER}
    for symptom in symptoms().values():
        prior = chances(symptom, {})
        keys, usual = list(prior), table_order(symptom)
        minutes = np.zeros((1 + len(LATER), shops))
        for shop in range(shops):
            shares = rng.dirichlet([PRIOR_JOBS * prior[k] for k in keys])
            truth = dict(zip(keys, shares.tolist(), strict=True))
            minutes[0, shop] = minutes_along(symptom, usual, truth)
            for at, jobs in enumerate(LATER, start=1):
                seen = dict(zip(keys, rng.multinomial(jobs, shares).tolist(), strict=True))
                minutes[at, shop] = minutes_along(symptom, best_order(symptom, chances(symptom, seen)), truth)
        means = minutes.mean(axis=1)
        for at, jobs in enumerate(LATER, start=1):
            saved[jobs].append(float(1 - means[at] / means[0]))
    return {jobs: float(np.mean(values)) for jobs, values in saved.items()}


def main() -> None:
    rows = study()
    columns = ("written", "table", "new", "learned", "best")
    print(f"{'minutes to the cause':30s} " + " ".join(f"{name:>8s}" for name in columns))
    for name, row in rows.items():
        print(f"{name:30s} " + " ".join(f"{getattr(row, column):8.1f}" for column in columns))
    for of in ("written", "table"):
        first, later, most = (
            float(np.mean([row.saved(ours, of) for row in rows.values()])) for ours in ("new", "learned", "best")
        )
        print(
            f"mean saving on the order {of}: {first:.1%} at first (no allowed order saves more), "
            f"{later:.1%} after {JOBS} jobs, {most:.1%} if each shop's own shares were known"
        )
    print("on the order table, by jobs: " + ", ".join(f"{n}: {s:.1%}" for n, s in savings_by_jobs(60).items()))
    far = [float(np.mean([getattr(row, name) - row.best for row in rows.values()])) for name in ("new", "learned")]
    print(f"minutes above the best order {far[0]:.2f} at first, {far[1]:.2f} after {JOBS} jobs: {far[1] / far[0]:.2f}")


if __name__ == "__main__":
    main()
