"""The bench plan at full size: gap, seconds, and cost beside first come, first served.

``python -m tests.benchmarks.bench_bench_plan [--cases N] [--proof SECONDS]``: 200 units, 30 days, 25 crews, 80 to 110 %
load. The gap is to what HiGHS proves beside the plan; ``--proof`` gives it that long again for a better bound.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from shop.planning import PlanTerms, plan_dropoffs
from shop.planning.problem import state_problem
from shop.planning.program import Surroundings, solve, write_program
from tests.shop.planning.cases import TERMS, Case, spring
from tests.shop.planning.rivals import as_placed, cost_of, first_come, simulated_risk, within_limits


def proof(case: Case, seconds: float) -> float:
    problem = state_problem(case.units, case.crews, case.days, (), (), TERMS)
    program = write_program(problem, np.arange(len(case.units)), Surroundings.empty(problem))
    return solve(program, seconds=seconds, gap=0.0)[1]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=18.0)
    parser.add_argument("--proof", type=float, default=0.0)
    options = parser.parse_args()
    print(
        f"{'case':>4s} {'load':>5s} {'seconds':>8s} {'gap':>6s} {'risk':>6s} {'cost':>6s} {'no place':>9s} {'over':>5s}"
    )
    rows = []
    for seed in range(1, options.cases + 1):
        case = spring(seed)
        start = time.perf_counter()
        plan = plan_dropoffs(case.units, case.crews, case.days, terms=PlanTerms(seconds=options.seconds))
        seconds = time.perf_counter() - start
        bound = max(plan.bound, proof(case, options.proof)) if options.proof else plan.bound
        ours, queue = as_placed(plan), first_come(case.units, case.crews, case.days, TERMS)
        risk = [simulated_risk(way, case.units, case.days, TERMS, seed) for way in (ours, queue)]
        cost = [cost_of(way, case.units, case.crews, case.days, TERMS) for way in (ours, queue)]
        over = not within_limits(ours, case.units, case.crews, case.days, TERMS)
        row = (1 - bound / plan.costs.total, risk[0] / risk[1], cost[0] / cost[1], seconds, over)
        rows.append(row)
        print(
            f"{seed:4d} {case.load:5.2f} {seconds:8.1f} {row[0]:6.2%} {row[1]:6.3f} {row[2]:6.3f} "
            f"{len(plan.unplaced):4d} {sum(v is None for v in queue.values()):4d} {'yes' if over else 'no':>5s}",
            flush=True,
        )
    table = np.array(rows, dtype=float)
    print(f"worst gap {table[:, 0].max():.2%}, median {np.median(table[:, 0]):.2%}; longest {table[:, 3].max():.1f} s;")
    print(f"risk beside first come: worst {table[:, 1].max():.3f}, median {np.median(table[:, 1]):.3f}")


if __name__ == "__main__":
    main()
