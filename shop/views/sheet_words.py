"""The bench sheet in words: what an answer became, and what recording the sheet would write."""

from __future__ import annotations

from django.utils.translation import gettext as _

from fleet.vocabulary import FAILURE_DONE, GUARD_STATES, LINE_STATES, TASKS
from shop.bench.sheet_plan import SheetPlan, finding_words, part_words, served_words
from shop.models import SheetAnswer, SheetEntry


def recorded_words(entry: SheetEntry, answer: SheetAnswer) -> str:
    """What an answer became in the ledger."""
    if entry.entry_kind == "job":
        return _("%(finding)s: a job on this visit") % {"finding": finding_words(answer)}
    return _("%(finding)s: recorded as %(kind)s") % {
        "finding": finding_words(answer), "kind": entry.get_entry_kind_display(),
    }  # fmt: skip


def plan_words(plan: SheetPlan) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """(what, as what) of everything that would be recorded; (task, what is missing) of looks that are not complete."""
    rows: list[tuple[str, str]] = []
    if plan.walk is not None:
        walk = plan.walk
        seen = [
            *(str(GUARD_STATES[g]) for g in dict.fromkeys((walk.guard, walk.guard_after)) if g),
            *(
                _("line %(state)s") % {"state": LINE_STATES[s]}
                for s in dict.fromkeys((walk.line, walk.line_after))
                if s
            ),
        ]
        if not seen:
            seen = [finding_words(a) for a in walk.answers]
        rows.append((_("Guard and line"), ", ".join(seen)))
    for served in plan.served:
        rows.append((str(TASKS[served.task].label), served_words(served)))
    for mended in plan.mended:
        done = str(FAILURE_DONE[mended.done]) if mended.done else _("not put right yet: a job on this visit")
        rows.append((part_words(mended.component), f"{mended.what}. {done}"))
    incomplete = [
        (str(TASKS[task].label), ", ".join(str(label) for label in missing)) for task, missing in plan.incomplete
    ]
    return rows, incomplete
