"""The inspection slip of one unit: what was found when it arrived, what the bench found since, how it stands now."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils.translation import gettext as _

from fleet.clock import day_at
from fleet.models import GuardCheck, Service, Trimmer
from fleet.record.standing import standing
from fleet.upkeep.entry_words import entry_words, plain
from fleet.upkeep.standing_flags import hold_words_of
from fleet.upkeep.stops import stops_for
from fleet.vocabulary import AS_FOUND, GUARD_STATES, LINE_STATES, SEEN_BY, SERVICE_DONE, TASKS
from shop.bench.checking import findings_told
from shop.bench.reading import LineRow
from shop.bench.sheet_plan import finding_words
from shop.bench.sheet_reading import answers_on, keys_shown
from shop.bench.words import job_words
from shop.bench.work_done import work_done
from shop.models import DropOffLine
from shop.papers.visit import entry_found
from shop.sheet_lines import BAD, DONE_WORDS, FINDINGS, GOOD, LOOKED, NOT_LOOKED, SHEET_LINES, WORN
from shop.vocabulary import INTAKE

# What keeps people safe, and the tasks that look at it.
SAFETY_LOOKS = ("stop_switch", "clutch", "head", "mounts", "arrestor")


@dataclass(frozen=True)
class Look:
    """One thing last looked at: what was found, when, and on whose word; nothing where nobody looked."""

    what: str
    found: str
    on: dt.date | None
    by: str


@dataclass(frozen=True)
class Slip:
    """All of one slip. Where the unit's history is not in sight, ``known`` is false, what comes of it empty."""

    arrived: list[tuple[str, str]]
    safety: list[str]
    checked: list[str]
    sheet: list[tuple[str, list[str]]]
    bench: list[tuple[str, str]]
    left_out: list[str]
    still_open: list[str]
    looks: list[Look]
    stops: list[str]
    holds: list[str]
    known: bool


def inspection_slip(row: LineRow, unit: Trimmer, *, known: bool, today: dt.date) -> Slip:
    """Read it; at most fourteen queries."""
    stops = stops_for([(unit.pk, unit.model_id)], today).get(unit.pk, []) if known else []
    done = work_done([row], row.line.contractor_id).get(row.line.pk, [])
    return Slip(
        arrived=_arrived(row),
        safety=_safety_found(row.line, unit) if known else [],
        checked=findings_told(row.line),
        sheet=_sheet(row),
        bench=[
            (job_words(one.job.job), _("taken back later") if one.withdrawn else entry_found(one.entry))
            for one in done
            if one.job.job != INTAKE
        ],
        left_out=[f"{job_words(j.job)}: {j.left_out}" for j in row.jobs if j.left_out and j.done_at is None],
        still_open=[
            job_words(j.job) for j in row.jobs if j.done_at is None and not j.left_out and j.job != INTAKE
        ],
        looks=last_looks(unit) if known else [],
        stops=[stop.sentence() for stop in stops],
        holds=[words for _tag, why in hold_words_of([unit]) for words in why] if known else [],
        known=known,
    )  # fmt: skip


def _arrived(row: LineRow) -> list[tuple[str, str]]:
    """What the counter wrote down, question by question; what nobody answered says so."""
    told, nobody = row.check_in, _("not looked at")
    if told is None:
        return []
    complaint = ". ".join(part for part in (str(told.get_symptom_display() or ""), told.complaint) if part)
    return [
        (_("Complaint"), complaint or _("nothing written down")),
        (_("Engine hours"), _("%(hours)s h") % {"hours": plain(told.hours)} if told.hours is not None else nobody),
        (_("Guard"), str(told.get_guard_display() or nobody)),
        (_("Line"), str(told.get_cutting_line_display() or nobody)),
        (_("Fuel in it"), str(told.get_fuel_display() or nobody)),
        (_("Left with it"), told.left_with or _("nothing written down")),
    ]


def _sheet(row: LineRow) -> list[tuple[str, list[str]]]:
    """The lines of the bench sheet by what was found, worst first, and those that nobody looked at; empty: no sheet."""
    answers = {key: a for key, a in answers_on(row.line).items() if a.finding != NOT_LOOKED}
    if not answers:
        return []
    found: dict[str, list[str]] = {BAD: [], WORN: [], GOOD: [], NOT_LOOKED: []}
    complaint = row.check_in is not None and bool(row.check_in.symptom or row.check_in.complaint)
    asked = {*keys_shown(row.jobs, complaint=complaint), *answers}
    for key, check in SHEET_LINES.items():
        answer = answers.get(key)
        if answer is None:
            found[NOT_LOOKED] += [str(check.label)] * (key in asked)
        elif answer.finding == GOOD and answer.done == LOOKED:
            found[GOOD].append(str(check.label))
        else:
            words = f"{finding_words(answer)}, {DONE_WORDS[answer.done]}"
            found[answer.finding].append(f"{check.label} ({words})")
    return [(str(FINDINGS[finding]), labels) for finding, labels in found.items() if labels]


def _safety_found(line: DropOffLine, unit: Trimmer) -> list[str]:
    """Findings of safety on the shop's word from the day it arrived."""
    if line.arrived_at is None:
        return []
    since = day_at(line.shop, line.arrived_at)
    until = day_at(line.shop, line.picked_up_at) if line.picked_up_at is not None else dt.date.max
    rows = GuardCheck.objects.filter(trimmer=unit, seen_by="shop", occurred_on__gte=since, occurred_on__lte=until)
    found = standing(rows.exclude(safety=""), "guard").order_by("occurred_on", "pk")
    return [entry_words(entry) for entry in found]


def last_looks(unit: Trimmer) -> list[Look]:
    """When guard, line and each safety task were last looked at, by whomever; two queries."""
    walks = list(standing(GuardCheck.objects.filter(trimmer=unit), "guard").order_by("-occurred_on", "-pk"))
    looks = []
    for what, name, words in ((_("Guard"), "guard", GUARD_STATES), (_("Line"), "line", LINE_STATES)):
        seen = next((walk for walk in walks if getattr(walk, name)), None)
        if seen is None:
            looks.append(Look(what, "", None, ""))
        else:
            looks.append(Look(what, str(words[getattr(seen, name)]), seen.occurred_on, str(SEEN_BY[seen.seen_by])))
    done: dict[str, Service] = {}
    rows = standing(Service.objects.filter(trimmer=unit, task__in=SAFETY_LOOKS), "service")
    for entry in rows.order_by("-occurred_on", "-pk"):
        done.setdefault(entry.task, entry)
    for task in SAFETY_LOOKS:
        entry = done.get(task)
        if entry is None:
            looks.append(Look(str(TASKS[task].label), "", None, ""))
            continue
        found = [str(AS_FOUND[entry.as_found])] if entry.as_found else []
        told = ", ".join([*found, str(SERVICE_DONE[entry.done])])
        looks.append(Look(str(TASKS[task].label), told, entry.occurred_on, str(SEEN_BY[entry.done_by])))
    return looks
