"""First checks: which cause to look for first, given a symptom and what the shop itself has found before.

Pure. The table of symptoms (``data/symptoms.json``) is common practice of the trade with no source claimed; its weights
are rough priors worth ``PRIOR_JOBS`` jobs of each symptom, to be outgrown by a shop's own confirmed findings.

Order: checks of safety first (with whatever must come before them), then least expected minutes to the cause, each
check after its prerequisites, and whatever opens the carburetor last whatever the counts say. With nothing to come
first, that is largest probability over minutes first; with prerequisites, the best order is found exactly, by trying
sets of checks.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

PRIOR_JOBS = 15.0
# A cause not in the table: our own assumption, a twentieth beside the weights of the table.
NONE_WEIGHT = 0.05
NONE = "none_of_these"
# A check that is done still misses its cause now and then: our own assumption, no source.
MISSED = 0.1
# Past this, the table explains the complaint less than likely, and checking on along it is stopped.
STOP_AT = 0.5
CARBURETOR_OPENED = frozenset({"carburetor", "carburetor_needle", "carburetor_diaphragm"})
# Findings about use, not failures of the component.
ABOUT_USE = frozenset({
    "operator_method", "switch_position", "flooding", "fuel_level", "fuel_quality", "fuel_mix", "line",
    "line_length_cutter", "guard_state",
})  # fmt: skip

Answer = Literal["found", "clear", "skipped"]


@dataclass(frozen=True)
class Cause:
    key: str
    component: str
    part: str
    text: str
    weight: float
    check: str
    minutes: float
    after: tuple[str, ...]
    safety: bool

    @property
    def opens_carburetor(self) -> bool:
        return self.part in CARBURETOR_OPENED

    @property
    def about_use(self) -> bool:
        return self.part in ABOUT_USE


@dataclass(frozen=True)
class Symptom:
    key: str
    label: str
    caution: str
    stop_use: bool
    causes: tuple[Cause, ...]

    def cause(self, key: str) -> Cause:
        return next(c for c in self.causes if c.key == key)


@dataclass(frozen=True)
class Likelihood:
    """One cause's chance now, the table's share of it, and the shop's own findings behind it."""

    key: str
    probability: float
    table: float
    own: int


@dataclass(frozen=True)
class Standing:
    """Where the search stands after the answers so far.

    ``state``: ``checking`` while ``order`` names what is next; ``found`` once a cause is found; ``exhausted`` when
    every check is answered; ``look_elsewhere`` when something not in the table has become at least as likely as not.
    ``minutes_to_go`` is what the rest of the checks takes on average if the cause is among them.
    """

    state: Literal["checking", "found", "exhausted", "look_elsewhere"]
    order: tuple[str, ...]
    chances: tuple[Likelihood, ...]
    found: str | None
    minutes_to_go: float


@cache
def symptoms() -> Mapping[str, Symptom]:
    """The table, read once and checked: weights sum to one, prerequisites exist, none waits for the carburetor."""
    raw = json.loads((Path(__file__).parent / "data" / "symptoms.json").read_text(encoding="utf-8"))
    return {key: _read(key, row) for key, row in raw["symptoms"].items()}


def _read(key: str, row: Mapping) -> Symptom:
    causes = tuple(
        Cause(
            c["cause_key"], c["component"], c["part"], c["cause"], float(c["weight"]), c["check"], float(c["minutes"]),
            tuple(c["after"]), bool(c["safety"]),
        )
        for c in row["causes"]
    )  # fmt: skip
    known = {c.key: c for c in causes}
    if abs(sum(c.weight for c in causes) - 1.0) > 1e-6 or len(known) != len(causes):
        raise ValueError(f"{key}: weights must sum to one, keys be unlike")
    for cause in causes:
        if any(a not in known or (known[a].opens_carburetor and not cause.opens_carburetor) for a in cause.after):
            raise ValueError(f"{key}: {cause.key} waits for what is unknown or opens the carburetor")
    return Symptom(key, row["label"], row["caution"], bool(row["stop_use"]), causes)


def chances(symptom: Symptom, counts: Mapping[str, int]) -> dict[str, float]:
    """Dirichlet mean: the table's weights as ``PRIOR_JOBS`` jobs, plus the shop's own findings by cause key."""
    pseudo = {c.key: PRIOR_JOBS * c.weight / (1 + NONE_WEIGHT) for c in symptom.causes}
    pseudo[NONE] = PRIOR_JOBS * NONE_WEIGHT / (1 + NONE_WEIGHT)
    if any(n < 0 for n in counts.values()):
        raise ValueError("counts are nought or more")
    grown = {key: weight + counts.get(key, 0) for key, weight in pseudo.items()}
    total = sum(grown.values())
    return {key: value / total for key, value in grown.items()}


def after_answers(chance: Mapping[str, float], answers: Mapping[str, Answer]) -> dict[str, float]:
    """Bayes: a clear check leaves its cause the ``MISSED`` part of its chance; a found cause is certain."""
    found = [key for key, answer in answers.items() if answer == "found"]
    if found:
        return {key: float(key == found[-1]) for key in chance}
    left = {key: value * (MISSED if answers.get(key) == "clear" else 1.0) for key, value in chance.items()}
    total = sum(left.values())
    return {key: value / total for key, value in left.items()}


def stand(symptom: Symptom, counts: Mapping[str, int], answers: Mapping[str, Answer]) -> Standing:
    """What to check next, and how likely each cause is by now."""
    unknown = set(answers) - {c.key for c in symptom.causes}
    if unknown:
        raise ValueError(f"{symptom.key} has no cause {min(unknown)}")
    before = chances(symptom, counts)
    now = after_answers(before, answers)
    table = chances(symptom, {})
    listed = tuple(
        Likelihood(key, now[key], table[key], counts.get(key, 0)) for key in sorted(now, key=lambda k: (-now[k], k))
    )
    found = next((key for key, answer in answers.items() if answer == "found"), None)
    order = best_order(symptom, now, frozenset(answers))
    # What can hurt is looked at in any case: a cause found does not end the checks of safety.
    safety_left = tuple(key for key in order if key in _with_prerequisites(symptom, frozenset(answers)))
    state: Literal["checking", "found", "exhausted", "look_elsewhere"] = "checking"
    if found is not None:
        state, order = "found", safety_left
    elif not order:
        state = "exhausted"
    elif now[NONE] >= STOP_AT and not safety_left:
        state = "look_elsewhere"
    return Standing(state, order, listed, found, expected_minutes(symptom, order, now))


def expected_minutes(symptom: Symptom, order: Sequence[str], chance: Mapping[str, float]) -> float:
    """Mean minutes until the cause is met along ``order``, given that it is one of these and every check is sure."""
    minutes = {c.key: c.minutes for c in symptom.causes}
    total = spent = weight = 0.0
    for key in order:
        spent += minutes[key]
        total += chance[key] * spent
        weight += chance[key]
    return total / weight if weight > 0 else spent


def best_order(symptom: Symptom, chance: Mapping[str, float], done: frozenset[str] = frozenset()) -> tuple[str, ...]:
    """The order of all checks not ``done``: safety, then the rest, then what opens the carburetor."""
    first = _with_prerequisites(symptom, done)
    stages: list[list[Cause]] = [[], [], []]
    for cause in symptom.causes:
        if cause.key not in done:
            stages[2 if cause.opens_carburetor else 0 if cause.key in first else 1].append(cause)
    order: list[str] = []
    for stage in stages:
        order += _least_minutes(stage, chance)
    return tuple(order)


def _with_prerequisites(symptom: Symptom, done: frozenset[str]) -> frozenset[str]:
    """Safety checks still to do (unless they open the carburetor) and what must be checked before them."""
    wanted = [c for c in symptom.causes if c.safety and c.key not in done and not c.opens_carburetor]
    found: set[str] = set()
    while wanted:
        cause = wanted.pop()
        if cause.key not in found:
            found.add(cause.key)
            wanted += [symptom.cause(key) for key in cause.after if key not in done]
    return frozenset(found)


def _least_minutes(causes: Sequence[Cause], chance: Mapping[str, float]) -> list[str]:
    """The order that meets the cause soonest on average, each check after its prerequisites among ``causes``.

    Least cost of doing a set of checks first, over all sets: 2^n of them, and a symptom has about ten checks.
    """
    position = {c.key: i for i, c in enumerate(causes)}
    needs = [sum(1 << position[a] for a in c.after if a in position) for c in causes]
    size = 1 << len(causes)
    spent = [0.0] * size
    best: list[float] = [float("inf")] * size
    last = [-1] * size
    best[0] = 0.0
    for done in range(size):
        if best[done] == float("inf"):
            continue  # cannot be done in any order
        for i, cause in enumerate(causes):
            bit = 1 << i
            if done & bit or needs[i] & ~done:
                continue
            then = done | bit
            spent[then] = spent[done] + cause.minutes
            cost = best[done] + chance[cause.key] * spent[then]
            if cost < best[then] - 1e-12:
                best[then], last[then] = cost, i
    order: list[str] = []
    done = size - 1
    while done:
        order.append(causes[last[done]].key)
        done &= ~(1 << last[done])
    return order[::-1]
