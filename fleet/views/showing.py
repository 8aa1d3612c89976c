"""From the answers to what templates print: one plain structure per unit and job, worded and drawn."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.access import Access
from fleet.charts.rail import Words
from fleet.charts.svg import Svg
from fleet.charts.words import rail_words
from fleet.sections import RowAction, row_actions_for
from fleet.upkeep.job_words import (
    GUARD_FINDINGS,
    crew_clears,
    findings_of,
    job_label,
    jobs_by_place,
    place_of,
    state_words,
)
from fleet.upkeep.lines import PutOff, ReadyList, UnitLine
from fleet.upkeep.put_off import may_postpone
from fleet.upkeep.rails import job_rail
from fleet.upkeep.ready import Job, UnitHours
from fleet.upkeep.reasons import sentences
from fleet.upkeep.season import Season
from fleet.upkeep.stops import Stop
from fleet.vocabulary import BENCH, HOLD, OWNER, PLACE_LABELS, YARD, Label


@dataclass(frozen=True)
class ShownJob:
    """A job with its reasons in words, and the addresses of what can be done about it."""

    task: str
    label: str
    state: str
    words: str
    place: Label
    why: list[str]
    rail: Svg | None
    done_url: str
    done_first: bool
    fault_url: str
    not_now_url: str
    refit_url: str
    refit_label: str
    offers: list[tuple[Label, str]]
    press: uuid.UUID = field(default_factory=uuid.uuid4)


@dataclass(frozen=True)
class ShownLine:
    """A unit's line: sign and words of what stops it or of its worst job, all jobs by place, one rail."""

    # Text: a template words every number in the reader's language, and this one stands in many places.
    pk: str
    tag: str
    model: str
    crew: str
    url: str
    state: str
    words: str
    places: list[tuple[Label, str]]
    rail: Svg | None
    whole: bool
    jobs: list[ShownJob]
    stops: list[Stop]


class Showing:
    """Shapes jobs for one reader and page; what does not change from row to row is looked up once."""

    def __init__(self, access: Access, seasons: Mapping[int, Season], back: str) -> None:
        self._access, self._seasons = access, seasons
        self._query = "?" + urlencode({"next": back})
        self._words: Words = rail_words()
        self._offers = {place: row_actions_for(access, place) for place in PLACE_LABELS}
        self._pages = {action: _offer_pages(action) for offers in self._offers.values() for action in offers}
        self._may: dict[tuple[str, int], bool] = {}
        self._places: dict[int, list[tuple[str, str]]] = {}
        self._fault = reverse("report_fault")
        self._unit_base = reverse("unit", args=[0]).removesuffix("0/")

    def unit_url(self, unit: int) -> str:
        """The unit's page."""
        return f"{self._unit_base}{unit}/"

    def _can(self, action: str, contractor: int) -> bool:
        key = (action, contractor)
        if key not in self._may:
            self._may[key] = self._access.can(action, contractor)
        return self._may[key]

    def places(self, line: UnitLine) -> list[tuple[str, str]]:
        """A unit's jobs by where they are done, for its line and for the list as text alike."""
        if line.unit.unit not in self._places:
            self._places[line.unit.unit] = jobs_by_place(line.jobs)
        return self._places[line.unit.unit]

    def line(self, line: UnitLine, show_crew: bool = False, whole: bool = True) -> ShownLine:
        """A unit's line of the Ready list; unless ``whole``, without the jobs it unfolds to."""
        unit, held = line.unit, line.state == HOLD
        counting = next((job for job in line.jobs if job.flag.due_hours is not None and job.state != HOLD), None)
        return ShownLine(
            pk=str(unit.unit),
            tag=unit.tag,
            model=unit.model_name,
            crew=(unit.crew_name or _("no crew")) if show_crew else "",
            url=self.unit_url(unit.unit),
            state=line.state,
            words=line_words(line),
            places=[(PLACE_LABELS[place], words) for place, words in self.places(line)],
            rail=None if held else self.rail(line.jobs[0]),
            whole=whole,
            jobs=[self.job(job, say_hours=job is counting, stopped=bool(line.stops)) for job in line.jobs if whole],
            stops=line.stops,
        )

    def rail(self, job: Job) -> Svg | None:
        """The job's rail, under an id that is the unit's and the task's own."""
        return job_rail(job, self._seasons, self._words, f"r{job.unit.unit}-{job.task}")

    def job(self, job: Job, with_rail: bool = False, say_hours: bool = True, stopped: bool = False) -> ShownJob:
        """A job with reasons and actions; what the unit's hours rest on need be said once a unit only.

        On a unit that a recall or an open fault stops, no job is the thing to do first.
        """
        unit, place = job.unit, place_of(job)
        base = self.unit_url(unit.unit)
        findings = findings_of(job)
        shop = self._access.sees_as(unit.contractor) == "shop"
        theirs = job.place != OWNER or self._can("see_money", unit.contractor)
        may_log = theirs and self._can("log_work", unit.contractor)
        # What the shop does at its bench, and what only it may clear, a crew reports or brings.
        clears = shop or (crew_clears(job) if job.state == HOLD else job.place != BENCH)
        only_guard = job.state == HOLD and bool(findings) and GUARD_FINDINGS.issuperset(findings)
        return ShownJob(
            task=job.task,
            label=job_label(job),
            state=job.state,
            words=state_words(job),
            place=PLACE_LABELS[place],
            why=sentences(job, hours=say_hours, alone=False),
            rail=self.rail(job) if with_rail else None,
            done_url=f"{base}done/{job.task}/{self._query}" if may_log and clears and not only_guard else "",
            fault_url=f"{self._fault}?unit={unit.unit}" if may_log and not clears and job.state != HOLD else "",
            done_first=not stopped and (shop or place == YARD),
            not_now_url=(
                f"{base}not-now/{job.task}/{self._query}"
                if theirs and may_postpone(job.task, job.flag.on_hold) and self._can("postpone", unit.contractor)
                else ""
            ),
            refit_url=f"{base}guard-refitted/" if may_log and GUARD_FINDINGS.intersection(findings) else "",
            # A cracked or loose guard does not go back on: a sound one takes its place.
            refit_label=_("Sound guard fitted now") if "guard_damaged" in findings else _("Guard refitted now"),
            offers=[(a.label, self._pages[a].replace("/0/", f"/{unit.unit}/")) for a in self._offers[place]],
        )


def _offer_pages(action: RowAction) -> str:
    """The address of an offer with 0 for the unit, so that it is looked up once and not for every row."""
    return reverse(action.url_name, args=[0])


def put_off_words(put_off: Iterable[PutOff], showing: Showing) -> list[dict[str, object]]:
    """Jobs put off, as the fold at the end of the list shows them."""
    return [
        {
            "tag": p.job.unit.tag,
            "url": showing.unit_url(p.job.unit.unit),
            "label": job_label(p.job),
            "words": state_words(p.job),
            "state": p.job.state,
            "until": p.said.until,
            "reason": p.said.reason,
            "author": p.said.author,
            "resume_url": f"{showing.unit_url(p.job.unit.unit)}resume/{p.job.task}/",
        }
        for p in put_off
    ]


def line_words(line: UnitLine) -> str:
    """The words beside a line's sign."""
    return line.stops[0].sign if line.stops else state_words(line.jobs[0])


def plain_text(found: ReadyList, heading: str, sentence: str, showing: Showing) -> str:
    """The list as text for a chat: recall notices first, each once, then a line a unit, worst first."""
    rows, labels = [heading, sentence, ""], {place: str(label) for place, label in PLACE_LABELS.items()}
    for stop, units in found.recalls():
        rows += [f"{', '.join(unit.tag for unit in units)}: {stop.sentence()}", ""]
    for line in found.lines:
        jobs = "; ".join(f"{words} [{labels[place]}]" for place, words in showing.places(line))
        faults = [f"{stop.duty} {stop.text}." for stop in line.stops if not stop.is_recall]
        rows.append(" ".join(part for part in (f"{line.unit.tag}: {line_words(line)}.", *faults, jobs) if part))
    return "\n".join(rows)


def hours_words(unit: UnitHours, job: Job) -> str:
    """The unit's hours now with their range, as a figure to be read."""
    low, high = round(job.hours_now_low), round(job.hours_now_high)
    now = f"{job.hours_now:,.0f}"
    if low == high:
        return _("%(now)s h") % {"now": now}
    return _("%(now)s h (%(low)s to %(high)s)") % {"now": now, "low": f"{low:,}", "high": f"{high:,}"}
