"""Why a job is due, in the portal's English, from figures worked out again; and how its sentences are compared."""

from __future__ import annotations

import datetime as dt
import re

FOUND = {
    "guard_off": "Guard found off on", "guard_damaged": "Guard found damaged on",
    "cracked_head": "Cutting head found cracked or unsound on",
    "no_stop": "The engine could not be stopped by its switch on",
    "trigger_sticks": "Trigger or lockout found sticking on",
    "stop_check_failed": "The stop switch failed its check on",
    "turns_at_idle": "The head turned at idle on", "clutch_check_failed": "The clutch failed its check on",
    "fuel_leak": "Fuel leak found on", "fuel_check_failed": "The fuel line failed its check on",
    "screen_holed": "Arrestor screen found holed on", "screen_missing": "Arrestor screen found missing on",
    "loose_handle": "Handle or mount found loose on", "mounts_check_failed": "The mounts failed their check on",
}  # fmt: skip
CREW_CLEARS = {"guard_off", "guard_damaged", "cracked_head"}
DONE = {
    "grease": "greased", "arrestor": "cleaned", "port": "cleaned", "air_filter": "cleaned", "fuel_filter": "changed",
    "plug": "changed", "mounts": "checked", "stop_switch": "checked", "clutch": "checked", "head": "checked",
    "lay_up": "laid up", "review": "reviewed",
}  # fmt: skip
RESTS_ON = {
    "meter": "Hours rest on the meter, read until {}.",
    "run": "Hours rest on hours logged, the last for the week that ends {}.",
    "fuel": "Hours rest on fuel drawn, the last for the week that ends {}.",
    "crew": "Hours rest on the crew's totals, the last for the week that ends {}.",
    "service": "Hours rest on those written at its last service, {}.",
    "none": "No hours logged since {}: the usual week is assumed.",
}
PARTS = {
    "gearbox": "gearbox", "exhaust": "exhaust and arrestor", "intake": "intake and insulator",
    "fuel": "fuel: line, filter, tank, cap, primer", "ignition": "ignition", "mounts": "mounts and handle",
    "stop_switch": "stop switch and wiring", "clutch": "clutch", "head": "cutting head",
}  # fmt: skip
ALONE = "No failure record stands behind this interval yet."
# What a limit close by may bring up or not.
ON_THE_EDGE = ("Held to the accepted risk of", "About")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def on(date: dt.date) -> str:
    return f"{date:%b} {date.day}, {date.year}"


def plain(value: float) -> str:
    return f"{value:.0f}" if abs(value - round(value)) < 0.05 else f"{value:.1f}"


def hold(findings: list[tuple[str, dt.date]]) -> list[str]:
    by_crew = all(finding in CREW_CLEARS for finding, _since in findings)
    last = (
        "Do not start it until it is put right; the crew records that."
        if by_crew
        else "Do not start it. The shop clears this after checking the unit."
    )
    return [*(f"{FOUND[finding]} {on(since)}." for finding, since in findings), last]


def interval(hours: float | None, months: int | None, week: float, source: str) -> str:
    """``source``: maker, practice, or the record."""
    parts = []
    if hours is not None:
        n = round(round(hours / week, 1)) if week > 0.05 else None
        about = {
            None: "", 0: " (more than once a week in season)", 1: " (about every Friday in season)",
            2: " (about every second Friday in season)",
        }.get(n, f" (about every {n} weeks in season)")  # fmt: skip
        parts.append(f"{plain(hours)} h{about}")
    if months:
        parts.append(f"{months} month" + "s" * (months != 1))
    whole = f"Every {' or '.join(parts)}" + ", whichever comes first" * (len(parts) == 2)
    return whole + {"maker": ": the maker's manual.", "practice": ": common practice, check the manual."}.get(
        source, "."
    )


def learned(component: str, basis: str, own: int, pooled: int, manual: float, source: str, chances: list[float]) -> str:
    """What the failures say; ``chances`` of one between two services, at the interval and at the manual's."""
    behind = pooled if basis == "pooled" else own
    count = f"{behind} failure{'s' * (behind != 1)} ({PARTS[component]})"
    if basis == "manual":
        if own:
            return f"{count} on record do not show that sooner than the manual would be better."
        return f"No failure of this model is in sight ({PARTS[component]}): the manual stands."
    says = (
        f"the maker's manual says {plain(manual)} h" if source == "maker" else f"common practice is {plain(manual)} h"
    )
    who = (
        f"{count} of this model on record"
        if basis == "model"
        else f"none of this model failed, but {count} of other models did"
    )
    here, there = (f"{100 * c:.0f}" for c in chances)
    return (
        f"Sooner than the manual: {who}; {says}. "
        f"Chance of a failure between services: {here} %, at the manual's {there} %."
    )


def last_done(task: str, done_on: dt.date | None, hours: float, from_on: dt.date) -> str:
    if done_on is not None:
        return f"Last {DONE[task]} at {plain(hours)} h on {on(done_on)}."
    if hours > 0:
        return f"Never recorded as done: counted from its registration at {plain(hours)} h on {on(from_on)}."
    return f"Never recorded as done: counted from new on {on(from_on)}."


def hours(basis: str, until: dt.date, guessed: float, assumed: float) -> str:
    said = RESTS_ON[basis].format(on(until))
    if round(100 * guessed) >= 1:
        said += f" {100 * guessed:.0f} % of its hours are guessed from usual weeks."
    if round(assumed) >= 10 and basis != "none":
        said += f" Since then the usual week is assumed: {assumed:.0f} h of them."
    return said


def alike(told: str, ours: str) -> bool:
    """The same words, and figures as near as their kind may be."""
    if _NUMBER.sub("#", told) != _NUMBER.sub("#", ours):
        return False
    pairs = list(zip(_NUMBER.findall(told), _NUMBER.findall(ours), strict=True))
    loose = 2 if told.startswith("Sooner") else 1 if told.startswith("About") else 0
    for place, (a, b) in enumerate(pairs):
        room = max(4.0, 0.25 * float(b)) if place >= len(pairs) - loose else 0.101 if "." in a + b else 0.0
        if abs(float(a) - float(b)) > room:
            return False
    return True


def differences(told: list[str], ours: list[str]) -> list[str]:
    """Sentences that only one of both says; a limit close by may go either way."""
    left = list(ours)
    found = []
    for sentence in told:
        match = next((o for o in left if alike(sentence, o)), None)
        if match is not None:
            left.remove(match)
        elif not sentence.startswith(ON_THE_EDGE[0]):
            found.append(f"the portal alone says {sentence!r}")
    return found + [f"the portal does not say {o!r}" for o in left if not o.startswith(ON_THE_EDGE[0])]
