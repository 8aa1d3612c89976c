"""The bench work on one line: what was told, what to do, what was found; its steps and pictures."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from fleet.access import Access, allowed
from fleet.cautions import caution_for_task
from fleet.clock import now_at
from fleet.forms.refusals import add_refusal
from fleet.record.writing import Refused
from fleet.views.asking import go, show
from fleet.views.jobs import say_holds
from fleet.vocabulary import COMPONENTS, TASKS
from shop import access as bench_access
from shop.bench.checking import findings_told, found_at
from shop.bench.facts import unit_facts
from shop.bench.photos import add_bench_photo
from shop.bench.quick_looking import verdict_on
from shop.bench.reading import VisitRow, line_rows
from shop.bench.sheet_plan import bad_words, plan_sheet, run_faults
from shop.bench.sheet_reading import answers_on
from shop.bench.words import day_words, job_words
from shop.bench.working import add_job, finish_job, leave_out, step
from shop.forms.check_in import StepForm
from shop.forms.jobs import LeaveOutForm, MinutesForm, PhotoForm, RepairForm, TaskForm
from shop.models import LineJob
from shop.views.asking import by_shop
from shop.views.claim_marks import claims_of_jobs
from shop.views.estimate_marks import estimates_of_jobs
from shop.views.pictures import picture_itself, pictures_of
from shop.views.stopped import stopped
from shop.views.visit_papers import papers_of, slip_of_line
from shop.vocabulary import (
    CAUSE_OF_PART,
    CHECKED_IN,
    IN_SHOP,
    NEXT_STATES,
    NO_SHOW,
    NOT_BROKEN,
    ON_BENCH,
    PICKED_UP,
    READY,
    VISIT_STATES,
    WAITING,
    fault_job,
    task_job,
)

# What the button of each step says.
_STEPS = (
    (ON_BENCH, gettext_lazy("On the bench")),
    (READY, gettext_lazy("Ready")),
    (PICKED_UP, gettext_lazy("Picked up")),
    (CHECKED_IN, gettext_lazy("Back to checked in")),
    (NO_SHOW, gettext_lazy("Did not come")),
)


@allowed("work_bench")
def bench_line(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything the technician needs while the unit is on the bench."""
    access: Access = request.access  # type: ignore[attr-defined]
    line = bench_access.line(access, pk, "work_bench")
    today = now_at(line.shop).date()
    (row,) = line_rows([line])
    unit = line.trimmer
    known = unit is not None and access.can("work_bench", unit.contractor_id)
    next_states = NEXT_STATES[line.state]
    taken = line.state in IN_SHOP
    estimates = estimates_of_jobs(row.jobs)
    verdict = verdict_on(line) if unit is not None else None
    facts = unit_facts(unit, today) if known and unit is not None else None
    claims = claims_of_jobs(row.jobs)
    answers = answers_on(line) if unit is not None else {}
    # A part whose months nobody entered may be covered; where every part's time is over, nothing is offered.
    claimable = facts is not None and any(w.running or w.until is None for w in facts.warranty)
    context = {
        "line": line,
        "unit": unit,
        "known": known,
        "visit": line.drop_off,
        "facts": facts,
        **stopped(access, unit, today),
        "told": row.check_in,
        "state": VISIT_STATES[line.state],
        "promised": day_words(line.promised_on) if line.promised_on else "",
        "jobs": [
            _job(job, taken)
            | {
                "estimate": estimates.get(job.pk),
                "claim": claims.get(job.pk),
                "claimable": claimable and job.entry_kind == "failure" and job.pk not in claims,
            }
            for job in row.jobs
        ],
        "open_jobs": row.open_jobs,
        "steps": [
            {"to": to, "words": words, "main": to == READY or (to, line.state) == (PICKED_UP, READY)}
            for to, words in _STEPS
            if to in next_states and (to != READY or not row.open_jobs)
        ],
        "can_wait": WAITING in next_states,
        "run_bad": run_faults(answers) if READY in next_states and not row.open_jobs else [],
        "can_check_in": CHECKED_IN in next_states and not taken,
        "taken": taken,
        "more": _more(row.jobs) if taken and unit is not None else [],
        "verdict": verdict,
        "owner_said": verdict is not None
        and any(e["answered_at"] and e["answered_at"] > verdict.at for e in estimates.values()),
        "sheet_waits": bool(plan_sheet(answers, row.jobs)),
        "papers": [(_("Inspection slip"), slip_of_line(line))] * bool(slip_of_line(line))
        + papers_of(access, VisitRow(line.drop_off, [row])),
        "checked": findings_told(line) if unit is not None else [],
        "photos": pictures_of(line, lambda photo: reverse("bench_photo", args=[pk, photo])),
    }
    return show(request, "shop/bench_line.html", context)


@allowed("work_bench")
@require_POST
def line_step(request: HttpRequest, pk: int) -> HttpResponse:
    """A button: the line's next state."""
    line = bench_access.line(request.access, pk, "work_bench")  # type: ignore[attr-defined]
    form = StepForm(request.POST)
    back = reverse("bench_line", args=[pk])
    if not form.is_valid() or form.cleaned_data["to"] not in VISIT_STATES:
        messages.error(request, _("Choose one of the answers offered."))
        return go(request, back)
    to = form.cleaned_data["to"]
    try:
        if to == CHECKED_IN and line.state not in IN_SHOP:
            raise Refused(_("Check it in at the counter, so that what is said and seen is kept."))
        row = step(line=line, to=to, by=by_shop(request), now=now_at(line.shop), note=form.cleaned_data["note"])
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("%(name)s: %(state)s.") % {"name": row.name, "state": VISIT_STATES[row.state]})
        if line.trimmer is not None and to in (READY, PICKED_UP):
            say_holds(request, [line.trimmer])
    return go(request, back)


@allowed("work_bench")
def bench_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Record one job as done, with what was found; or leave it out."""
    job = job_in_sight(request, pk)
    line = job.line
    back = reverse("bench_line", args=[line.pk])
    if job.done_at is not None:
        return go(request, back)
    now = now_at(line.shop)
    posted = request.POST if request.method == "POST" else None
    leaving = posted is not None and "leave_out" in posted
    # Repair or swap hands over what was chosen there.
    chosen = {name: request.GET[name] for name in ("done", "minutes", "parts_cost") if name in request.GET}
    form = _form(job, None if leaving else posted, chosen)
    told = estimates_of_jobs([job]).get(job.pk)
    said_no = told is not None and told["answer"] is not None and not told["answer"]["yes"]
    left = LeaveOutForm(posted if leaving else None, initial={"why": _("The owner said no.")} if said_no else None)
    if posted is not None and (left if leaving else form).is_valid():
        try:
            if leaving:
                leave_out(job=job, why=left.cleaned_data["why"], by=by_shop(request), now=now)
            else:
                by = by_shop(request, form.cleaned_data["client_entry_id"])
                finish_job(job=job, found=form.found(), by=by, today=now.date(), now=now)
        except Refused as refusal:
            add_refusal(left if leaving else form, refusal)
        else:
            messages.success(request, _("%(name)s: %(job)s saved.") % {"name": line.name, "job": job_words(job.job)})
            if line.trimmer is not None:
                say_holds(request, [line.trimmer])
            return go(request, back)
    kind, _dot, rest = job.job.partition(".")
    context = {
        "job": job,
        "line": line,
        "words": job_words(job.job),
        "form": form,
        "left": left,
        "said_no": said_no,
        "back": back,
        "caution": caution_for_task(rest) if kind == "task" else None,
        "said": job.failure.what if job.failure is not None else "",
        **stopped(request.access, line.trimmer, now.date()),  # type: ignore[attr-defined]
    }
    return show(request, "shop/bench_job.html", context, status=422 if form.errors or left.errors else 200)


@allowed("work_bench")
@require_POST
def line_add_job(request: HttpRequest, pk: int) -> HttpResponse:
    """A job nobody had booked."""
    line = bench_access.line(request.access, pk, "work_bench")  # type: ignore[attr-defined]
    try:
        added = add_job(line=line, job=request.POST.get("job", ""), author=request.user, now=now_at(line.shop))  # type: ignore[arg-type]
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("Added: %(job)s.") % {"job": job_words(added.job)})
    return go(request, reverse("bench_line", args=[pk]))


@allowed("work_bench")
def bench_photos(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a picture to a line."""
    line = bench_access.line(request.access, pk, "work_bench")  # type: ignore[attr-defined]
    posted = request.method == "POST"
    form = PhotoForm(request.POST if posted else None, request.FILES if posted else None)
    back = reverse("bench_line", args=[pk])
    if posted and form.is_valid():
        upload, caption = form.cleaned_data["picture"], form.cleaned_data["caption"]
        try:
            add_bench_photo(line=line, upload=upload, size=upload.size, caption=caption, author=request.user)  # type: ignore[arg-type]
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("Picture added."))
            return go(request, back)
    context = {"line": line, "form": form, "back": back}
    return show(request, "shop/bench_photos.html", context, status=422 if form.errors else 200)


@allowed("see_drop_offs")
def bench_photo(request: HttpRequest, pk: int, photo: int) -> HttpResponse:
    """The picture itself, to those who see the drop-off."""
    line = bench_access.line(request.access, pk)  # type: ignore[attr-defined]
    return picture_itself(line, photo)


def job_in_sight(request: HttpRequest, pk: int) -> LineJob:
    """The job, if its line is in sight of who works at this bench; else 404."""
    job = LineJob.objects.known().select_related("failure").filter(pk=pk).first()
    if job is None:
        raise Http404
    job.line = bench_access.line(request.access, job.line_id, "work_bench")  # type: ignore[attr-defined]
    return job


def _form(job: LineJob, posted: Any, chosen: dict[str, Any] | None = None) -> MinutesForm:
    kind, _dot, rest = job.job.partition(".")
    if kind == "task":
        return TaskForm(posted, task=rest, initial={"minutes": None})
    if kind in ("fault", "repair"):
        said = job.failure.what if job.failure is not None else ""
        initial = {"component": rest.partition(".")[0], "what": said}
        found = found_at(job.line, job.job)
        if found is not None:
            initial |= {"component": found.component, "what": found.text, "cause": CAUSE_OF_PART.get(found.part, "")}
            if found.about_use:
                initial["done"] = NOT_BROKEN
        elif not said:
            initial["what"] = bad_words(answers_on(job.line), rest.partition(".")[0])
        return RepairForm(posted, initial=initial | (chosen or {}))
    return MinutesForm(posted)


def _job(job: LineJob, taken: bool) -> dict[str, Any]:
    return {
        "pk": job.pk,
        "words": job_words(job.job),
        "minutes": job.minutes,
        "taken": job.minutes_taken,
        "done_at": job.done_at,
        "left_out": job.left_out,
        "said": job.failure.what if job.failure is not None else "",
        "added": job.get_added_display() if job.added != "booking" else "",
        "url": reverse("bench_job", args=[job.pk]) if taken and not job.done_at else "",
        "ways_url": reverse("repair_or_swap", args=[job.pk])
        if taken and not job.done_at and job.job.startswith("fault.")
        else "",
    }


def _more(jobs: list[LineJob]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Jobs that can be added, in two groups."""
    there = {job.job for job in jobs if job.done_at is None}
    tasks = [(task_job(key), str(task.label)) for key, task in TASKS.items() if task_job(key) not in there]
    faults = [(fault_job(key), str(label)) for key, label in COMPONENTS.items() if fault_job(key) not in there]
    return [(_("Tasks"), tasks), (_("Faults found"), faults)]
