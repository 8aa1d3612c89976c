"""What the taps of a bench sheet become in the ledger: guard checks, services, failures, or jobs still to be done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from fleet.vocabulary import AS_FOUND, COMPONENTS, LINE_STATES, TASKS, Label
from shop.bench.sheet_reading import recorded
from shop.models import LineJob, SheetAnswer
from shop.sheet_lines import (
    BAD,
    DONE_WORDS,
    FINDINGS,
    GOOD,
    LOOKED,
    NOT_LOOKED,
    REPLACED,
    SERVICED,
    SHEET_LINES,
    STRETCHES,
    SheetLine,
    lines_of_task,
)
from shop.vocabulary import fault_job, task_job

# The gravest word of several lines stands for the task; the first here is the gravest.
_GRAVEST = ("missing", "holed", "failed", "blocked", "dry", "loose", "worn", "partly", "clear", "ok")
_MOST_DONE = (LOOKED, SERVICED, REPLACED)


@dataclass(frozen=True)
class Walk:
    """Guard and line as they were found, and as they are now where that is something else."""

    answers: tuple[SheetAnswer, ...]
    guard: str = ""
    line: str = ""
    guard_after: str = ""
    line_after: str = ""


@dataclass(frozen=True)
class Served:
    """One task looked at or done; ``job`` is the booked job it settles. ``as_found`` empty: the repair says it."""

    task: str
    answers: tuple[SheetAnswer, ...]
    as_found: str
    done: str
    job: LineJob | None


@dataclass(frozen=True)
class Mended:
    """One component found bad: put right (``done``: repaired or replaced), or, ``done`` empty, a job to be done."""

    component: str
    answers: tuple[SheetAnswer, ...]
    what: str
    done: str
    job: LineJob | None


@dataclass
class SheetPlan:
    """Everything that recording the sheet now would write, and tasks whose look is not complete."""

    walk: Walk | None = None
    served: list[Served] = field(default_factory=list)
    mended: list[Mended] = field(default_factory=list)
    # (task, lines that are still to be looked at or put right)
    incomplete: list[tuple[str, list[Label]]] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.walk or self.served or self.mended)


def plan_sheet(answers: Mapping[str, SheetAnswer], jobs: Iterable[LineJob]) -> SheetPlan:
    """What standing answers become, given the line's jobs. Pure but for what the rows hold."""
    rows = list(jobs)
    looked = {key: a for key, a in answers.items() if a.finding != NOT_LOOKED}
    fresh = {key: a for key, a in looked.items() if recorded(a) is None and not _told_by_job(a, rows)}
    open_jobs = {job.job: job for job in rows if job.done_at is None and not job.left_out}
    plan = SheetPlan(walk=_walk(fresh))
    told_by_repair: set[str] = set()
    for component, mine in _bad_by_component(fresh).items():
        told_by_repair |= _mend(plan, component, mine, open_jobs)
    for task in dict.fromkeys(SHEET_LINES[key].task for key in SHEET_LINES if key in fresh):
        if task:
            _serve(plan, task, looked, fresh, open_jobs, told_by_repair)
    return plan


def asks_done(check: SheetLine, finding: str) -> bool:
    """Whether a line asks what was done: at work always, at a part where it is bad, at a check where not good."""
    if finding == NOT_LOOKED or not (check.task or check.component):
        return False
    if check.serves or finding == BAD:
        return True
    return finding != GOOD and bool(check.task) and check.key != "guard"


def finding_words(answer: SheetAnswer) -> str:
    """What an answer says, in words: the finer word where there is one."""
    check = SHEET_LINES[answer.check_key]
    if answer.finding in (GOOD, NOT_LOOKED):
        return str(FINDINGS[answer.finding])
    return finer_word(check, check.as_found(answer.finding, answer.detail), answer.finding)


def finer_word(check: SheetLine, as_found: str, finding: str) -> str:
    """How the ledger's word for a finding reads at this line."""
    named = dict(check.words).get(as_found)
    if named is not None:
        return str(named)
    if check.key == "line" and as_found in LINE_STATES:
        return str(LINE_STATES[as_found])
    if as_found in ("failed", "worn", "on"):
        return str(FINDINGS[finding])
    return str(AS_FOUND.get(as_found, FINDINGS[finding]))


def bad_words(answers: Mapping[str, SheetAnswer], component: str) -> str:
    """What the sheet found bad about one component, in words; empty for nothing."""
    bad = [a for key, a in answers.items() if a.finding == BAD and SHEET_LINES[key].blamed == component]
    return "; ".join(f"{SHEET_LINES[a.check_key].label}: {finding_words(a)}" for a in bad)[:200]


def run_faults(answers: Mapping[str, SheetAnswer]) -> list[str]:
    """What the run test still says is bad, in words: lines that stand for no task and no part of their own."""
    keys = [line.key for line in STRETCHES[-1].lines if not (line.task or line.component)]
    return [str(SHEET_LINES[key].label) for key in keys if key in answers and answers[key].finding == BAD]


def _told_by_job(answer: SheetAnswer, jobs: Sequence[LineJob]) -> bool:
    """Whether a job recorded since then has told it: on its own page rather than with the sheet."""
    check = SHEET_LINES[answer.check_key]
    if check.task:
        names: tuple[str, ...] = (task_job(check.task),)
    else:
        names = (fault_job(check.component), f"repair.{check.component}.repaired", f"repair.{check.component}.replaced")
    return any(job.job in names and job.done_at is not None and job.done_at >= answer.at for job in jobs)


def _walk(fresh: Mapping[str, SheetAnswer]) -> Walk | None:
    guard, line = fresh.get("guard"), fresh.get("line")
    mine = tuple(a for a in (guard, line) if a is not None)
    if not mine:
        return None
    seen = {"guard": "", "line": "", "guard_after": "", "line_after": ""}
    if guard is not None:
        found = SHEET_LINES["guard"].as_found(guard.finding, guard.detail)
        # What holds the unit is in the ledger from the tap on.
        seen["guard"] = "" if guard.entry_id is not None else found
        if guard.finding == BAD and guard.done != LOOKED:
            seen["guard_after"] = "refitted" if found == "off" else "on"
    if line is not None:
        seen["line"] = SHEET_LINES["line"].as_found(line.finding, line.detail)
        if line.finding != GOOD and line.done != LOOKED:
            seen["line_after"] = "ok"
    return Walk(mine, **seen)


def _bad_by_component(fresh: Mapping[str, SheetAnswer]) -> dict[str, list[SheetAnswer]]:
    """Bad answers by the part they blame, in the sheet's order."""
    found: dict[str, list[SheetAnswer]] = {}
    for key, check in SHEET_LINES.items():
        if key in fresh and fresh[key].finding == BAD and key != "line" and check.blamed:
            found.setdefault(check.blamed, []).append(fresh[key])
    return found


def _mend(plan: SheetPlan, component: str, bad: Sequence[SheetAnswer], open_jobs: Mapping[str, LineJob]) -> set[str]:
    """Add what follows for one component; returns the tasks whose finding the repair tells."""
    job = open_jobs.get(fault_job(component))
    what = bad_words({a.check_key: a for a in bad}, component)
    if any(a.done == LOOKED for a in bad):
        # Not put right yet: a job, so that the unit is not called ready with it.
        plan.mended.append(Mended(component, tuple(bad), what, "", job))
        return set()
    parts = [a for a in bad if _is_part(a)]
    if job is None and not parts:
        return set()  # The service of its task tells it all.
    told = bad if job is not None else parts
    done = "replaced" if any(a.done == REPLACED for a in told) else "repaired"
    plan.mended.append(Mended(component, tuple(told), what, done, job))
    return {SHEET_LINES[a.check_key].task for a in told} if job is not None else set()


def _is_part(answer: SheetAnswer) -> bool:
    """Whether a bad line is a failure of its part by itself: no task's look, or a broken guard."""
    check = SHEET_LINES[answer.check_key]
    return not check.task or (check.key == "guard" and check.as_found(BAD, answer.detail) == "damaged")


def _serve(
    plan: SheetPlan, task: str, looked: Mapping[str, SheetAnswer], fresh: Mapping[str, SheetAnswer],
    open_jobs: Mapping[str, LineJob], told_by_repair: set[str],
) -> None:  # fmt: skip
    lines = lines_of_task(task)
    scored = [looked[c.key] for c in lines if c.key in looked and not c.in_guard_check]
    guard = looked.get("guard")
    # The head's look clears what holds the guard, so it waits for the guard; a check waits for all its lines.
    missing: list[Label] = [c.label for c in lines if c.key not in looked]
    if task == "head" and guard is not None and guard.finding == BAD and guard.done == LOOKED:
        missing.append(SHEET_LINES["guard"].label)
    open_bad = any(a.finding == BAD and a.done == LOOKED for a in scored)
    if not scored or (missing and not open_bad):
        if scored or task_job(task) in open_jobs:
            plan.incomplete.append((task, missing))
        return
    mine = tuple(a for a in scored if a.check_key in fresh)
    if not mine:
        return
    found = min((SHEET_LINES[a.check_key].as_found(a.finding, a.detail) for a in scored), key=_GRAVEST.index)
    done = LOOKED if open_bad else max((a.done for a in scored), key=_MOST_DONE.index)
    as_found = "" if task in told_by_repair and done != LOOKED else found
    plan.served.append(Served(task, mine, as_found, done, open_jobs.get(task_job(task))))


def served_words(row: Served) -> str:
    """A service that would be recorded, in words."""
    done = TASKS[row.task].done_word if row.done == SERVICED else DONE_WORDS[row.done]
    found = str(AS_FOUND[row.as_found]) if row.as_found else ""
    return ", ".join(filter(None, (found, str(done))))


def part_words(component: str) -> str:
    """A component's name at the start of a line."""
    words = str(COMPONENTS[component])
    return words[:1].upper() + words[1:]
