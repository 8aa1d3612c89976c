"""How often the 80 % bands of projected due dates hold the true date, on simulated fleets with known truth.

A job is counted where its band ends before the simulated history does, so that the truth is always seen. What is asked
of units with a meter is the day the true total passes ``due_hours``; of the others, whose totals are only as good as
their reporters, the day the true hours since the task was last done pass the interval.

``python -m tests.fleet.upkeep.coverage_study --fleets 8``
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

TODAY = dt.date(2026, 11, 30)
LOOKS = (dt.date(2025, 5, 12), dt.date(2025, 7, 14), dt.date(2026, 4, 20), dt.date(2026, 6, 15))


@dataclass(frozen=True)
class Checked:
    """One job's band against the truth."""

    metered: bool
    basis: str
    inside: bool
    early: bool
    width_days: int
    as_of: dt.date


def checked_jobs(seed: int, units: int = 180) -> Iterator[Checked]:
    """Every countable job of one simulated fleet at each look."""
    from fleet.simulation.fleet import simulate
    from fleet.simulation.scenario import demo_parameters

    simulated = simulate(demo_parameters(TODAY).with_units(units), seed)
    for as_of in LOOKS:
        yield from _checked_at(simulated, as_of)


def _checked_at(simulated, as_of: dt.date) -> Iterator[Checked]:  # type: ignore[no-untyped-def]
    from fleet.upkeep.days import date_of
    from fleet.upkeep.due import compute_flags
    from fleet.upkeep.intervals import practice_interval
    from fleet.upkeep.learned import LearnedTables
    from fleet.upkeep.ready import Flag, UnitHours, jobs_on
    from fleet.upkeep.rows import histories_from_rows
    from fleet.upkeep.season import Season
    from fleet.upkeep.timelines import BASES, build_timelines
    from fleet.upkeep.usage import Usage
    from fleet.upkeep.usage_learning import learn_usage
    from fleet.vocabulary import TASK_KEYS

    files, truth = simulated.files, simulated.truth
    owners = {c["contractor"]: i for i, c in enumerate(files["contractors"])}
    crews: dict[tuple[str, str], int] = {}
    for name in ("units", "moves", "hours"):
        for row in files[name]:
            if row.get("crew"):
                crews.setdefault((row["contractor"], row["crew"]), len(crews))
    models = {(m["maker"], m["model"]): i for i, m in enumerate(files["models"])}
    burn_of = {i: float(m["burn_litres_per_hour"] or 0.65) for i, m in enumerate(files["models"])}
    c = files["contractors"][0]
    season = Season(c["season_opens"], c["season_closes"], "1111100")
    h, names = histories_from_rows(files, crews, models, owners, as_of)
    burn = np.array([burn_of[m] for m in h.units["model"].tolist()])

    usages = []
    for owner in range(len(owners)):
        usages.append(_learn(h, owner, season, burn, learn_usage, Usage))
    usage_of = h.units["contractor"]
    lines = build_timelines(h, usages, usage_of, burn)
    table = {k: practice_interval(k) for k in TASK_KEYS}
    n = len(lines.unit)
    flags = compute_flags(
        h, lines, [table], np.zeros(n, dtype=np.int64), [""] * n, {}, LearnedTables.none(1), np.zeros(n),
        np.zeros(n, dtype=bool),
    )  # fmt: skip
    metered = _metered(h)
    column_of = _truth_columns(simulated, as_of)
    rows, place = [], []
    units: dict[int, UnitHours] = {}
    for i, u in enumerate(flags.unit.tolist()):
        if np.isnan(flags.due_hours[i]) or flags.last_done_hours[i] != flags.last_done_hours[i]:
            continue
        r = int(lines.row_of[u])
        unit = units.setdefault(
            u,
            UnitHours(
                u, names[u][1], int(usage_of[u]), names[u][0], int(lines.crew[r]), "", 0, "",
                date_of(int(lines.known_until[r])), float(lines.hours[r]), float(lines.variance[r]),
                float(lines.since_reading[r]), float(lines.day_rate[r]), float(lines.bias_cv[r]),
                float(lines.rate_cv[r]), float(lines.week_cv[r]), BASES[lines.basis[r]], float(lines.guessed_share[r]),
            ),
        )  # fmt: skip
        flag = Flag(
            TASK_KEYS[int(flags.task[i])], False, float(flags.last_done_hours[i]), date_of(int(flags.last_done_on[i])),
            float(flags.counts_from_hours[i]), date_of(int(flags.counts_from_on[i])), float(flags.interval_hours[i]),
            None, "manual", "practice", float(flags.due_hours[i]), None,
            None if flags.passed_on[i] > 10**6 else date_of(int(flags.passed_on[i])), 0,
        )  # fmt: skip
        rows.append((unit, flag))
        place.append(u)
    seasons = {i: usages[i].season for i in range(len(usages))}
    hours = truth.hours.astype(float)
    start = truth.start
    for (unit, flag), job in zip(rows, jobs_on(rows, seasons, as_of, as_of), strict=True):
        if flag.passed_on is not None or job.due_on_late is None or job.due_on_late > TODAY or job.due_on_late <= as_of:
            continue
        column = column_of[unit.unit]
        gone = int(truth.retired[column])
        if gone >= 0 and start + dt.timedelta(days=gone) <= job.due_on_late:
            continue
        total = hours[:, column].cumsum() + truth.start_hours[column]
        at = lambda d: total[min(max((d - start).days, 0), len(total) - 1)]  # noqa: E731, B023
        target = flag.due_hours if metered[unit.unit] else at(flag.last_done_on) + flag.interval_hours
        if at(as_of) >= target:
            true = as_of
        else:
            true = start + dt.timedelta(days=int(np.argmax(total >= target))) if total[-1] >= target else dt.date.max
        # The day it falls due is a working day: a band's end on a Friday means until Monday.
        inside = job.due_on_early <= true <= job.due_on_late
        yield Checked(
            metered[unit.unit], unit.basis, inside, true < job.due_on_early,
            (job.due_on_late - job.due_on_early).days, as_of,
        )  # fmt: skip


def _learn(h, owner, season, burn, learn_usage, usage_class):  # type: ignore[no-untyped-def]
    mine = h.units["contractor"] == owner
    return learn_usage(h.only(mine), season, burn[mine], 0) if mine.any() else usage_class(season=season)


def _metered(h) -> np.ndarray:  # type: ignore[no-untyped-def]
    counts = np.bincount(h.hours["unit"], weights=~np.isnan(h.hours["meter"]), minlength=h.n_units)
    return counts >= 3


def _truth_columns(simulated, as_of: dt.date) -> list[int]:  # type: ignore[no-untyped-def]
    return [i for i, u in enumerate(simulated.files["units"]) if u["registered_on"] <= as_of]


def summary(checked: list[Checked]) -> list[tuple[str, int, float, float, float, float]]:
    """Name, count, share inside, share before, share after, median width in days."""
    rows = []
    groups = {"metered": [c for c in checked if c.metered], "guessed": [c for c in checked if not c.metered]}
    for basis in sorted({c.basis for c in checked}):
        groups[f"  last: {basis}"] = [c for c in checked if c.basis == basis]
    for look in LOOKS:
        for m in (True, False):
            groups[f"  {look} {'metered' if m else 'guessed'}"] = [
                c for c in checked if c.as_of == look and c.metered == m
            ]
    for name, group in groups.items():
        if group:
            inside = float(np.mean([c.inside for c in group]))
            early = float(np.mean([c.early for c in group]))
            rows.append(
                (name, len(group), inside, early, 1 - inside - early, float(np.median([c.width_days for c in group])))
            )
    return rows


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--fleets", type=int, default=6)
    parser.add_argument("--units", type=int, default=180)
    options = parser.parse_args()
    checked = [c for seed in range(1, options.fleets + 1) for c in checked_jobs(seed, options.units)]
    print("Share of 80 % bands that hold the true due date")
    print(f"{'hours rest on':26} {'jobs':>6} {'inside':>7} {'before':>7} {'after':>7} {'days wide':>9}")
    for name, n, inside, early, late, width in summary(checked):
        print(f"{name:26} {n:6d} {inside:7.3f} {early:7.3f} {late:7.3f} {width:9.0f}")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    import django

    django.setup()
    main()
