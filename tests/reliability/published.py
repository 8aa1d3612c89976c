"""The published cases in ``data/``: one JSON file each, with its source."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from fleet.reliability.lifetimes import Lifetimes

DATA = Path(__file__).parent / "data"


@cache
def case(start: str) -> dict[str, Any]:
    """The case whose file name starts so, e.g. ``c02``."""
    (path,) = DATA.glob(f"{start}_*.json")
    return json.loads(path.read_text())


def right_censored(start: str, time: str = "time", status: str = "status", **more: Any) -> Lifetimes:
    """Lifetimes of a case with exact and right-censored times."""
    data = case(start)["data"]
    hours = np.array(data[time], dtype=float)
    event = np.array(data[status]) == 1
    return Lifetimes(lower=hours, upper=np.where(event, hours, np.inf), **more)


def columns(start: str, *names: str) -> np.ndarray:
    """Columns of a case's data as a float matrix (n, len(names))."""
    data = case(start)["data"]
    return np.column_stack([np.array(data[name], dtype=float) for name in names])


def current_status() -> Lifetimes:
    """c06: one look at each wheel; failed ones are left-censored."""
    data = case("c06")["data"]
    hours, failed = np.array(data["hours"], dtype=float), np.array(data["failed"])
    fine = np.array(data["inspected"]) - failed
    lower = np.concatenate([np.zeros(failed.sum()), np.repeat(hours, fine)])
    upper = np.concatenate([np.repeat(hours, failed), np.full(fine.sum(), np.inf)])
    return Lifetimes(lower=lower, upper=upper)


def heat_exchanger() -> Lifetimes:
    """c07: grouped looks with right-censoring."""
    data = case("c07")["data"]
    right = np.array([np.inf if value is None else value for value in data["right"]])
    return Lifetimes(
        lower=np.repeat(np.array(data["left"], float), data["count"]), upper=np.repeat(right, data["count"])
    )


def residents(sex: str) -> Lifetimes:
    """c10: delayed entry, in months."""
    data = case("c10")["data"]
    pick = np.array(data["sex"]) == sex
    entry, end = np.array(data["entry"], float)[pick], np.array(data["exit"], float)[pick]
    return Lifetimes(entry=entry, lower=end, upper=np.where(np.array(data["cens"])[pick] == 1, end, np.inf))


def spells(start: str, names: tuple[str, ...]) -> Lifetimes:
    """c24, c26: (start, stop] pieces with covariates that change."""
    data = case(start)["data"]
    stop = np.array(data["stop"], float)
    return Lifetimes(
        entry=np.array(data["start"], float),
        lower=stop,
        upper=np.where(np.array(data["event"]) == 1, stop, np.inf),
        covariates=columns(start, *names),
        spell=np.array(data["id"]),
        unit=np.array(data["id"]),
    )


def relative(ours: float, theirs: float) -> float:
    """Relative difference, absolute where the other value is 0."""
    return abs(ours - theirs) / (abs(theirs) or 1.0)
