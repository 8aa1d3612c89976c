"""Import: hand files in, see what they would add, take them in, with progress. Export is beside it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet import background
from fleet.access import Access, allowed
from fleet.forms.imports import UploadForm
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.models import ImportRun
from fleet.record.columns import FILES, kind_of_file
from fleet.record.import_runs import (
    MAX_BAD,
    bad_rows,
    check_files,
    drop_files,
    fell_silent,
    keep_files,
    kept_files,
    progress_of,
    start_taking,
    sweep,
    take_files,
)
from fleet.record.writing import Refused
from fleet.spreadsheets import csv_download

BAD_PER_PAGE = 50
BAD_COLUMNS = ("file", "line", "column", "value", "reason")


def _bounds(access: Access) -> frozenset[int] | None:
    """Contractors this person may import for; None: the whole portal, new ones too."""
    if access.is_administrator:
        return None
    return frozenset(pk for pk in access.contractor_ids if access.can("import_files", pk))


def _run(request: HttpRequest, token: str) -> ImportRun:
    """The person's own set; anybody else's does not exist."""
    run = ImportRun.objects.select_related("contractor").filter(token=token, owner=request.user.pk).first()
    if run is None:
        raise Http404
    return run


@allowed("import_files")
def import_page(request: HttpRequest) -> HttpResponse:
    """Hand files in."""
    access: Access = request.access  # type: ignore[attr-defined]
    only = _bounds(access)
    contractors = [c for c in access.contractors() if only is None or c.pk in only]
    rows = access.contractors().filter(pk__in=[c.pk for c in contractors])
    form = UploadForm(posted(request), request.FILES or None, contractors=rows, may_name_others=access.is_administrator)
    if request.method == "POST" and form.is_valid():
        sweep(timezone.now())
        files = form.cleaned_data["upload"]
        try:
            _refuse_settings(access, only, [file.name for file in files])
            run = keep_files(owner=request.user, contractor=form.cleaned_data["contractor"], files=files)  # type: ignore[arg-type]
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            check_files(run=run, only=only)
            return redirect("import_run", token=run.token)
    context = {
        "form": form,
        "runs": ImportRun.objects.filter(owner=request.user.pk).select_related("contractor").order_by("-pk")[:8],
        "may_export": access.can("export_files"),
        "kinds": FILES.values(),
    }
    return render(request, "fleet/import.html", context, status=422 if form.errors else 200)


def _refuse_settings(access: Access, only: frozenset[int] | None, names: list[str]) -> None:
    """A contractors file changes settings: only for those who may change them on their page too."""
    for name in names:
        kind = kind_of_file(name or "")
        if kind is None or kind.name != "contractors":
            continue
        if not all(access.can("edit_contractor", pk) for pk in only or ()):
            raise Refused(_("%s changes contractors' settings; only their owners may hand it in.") % name, "upload")


@allowed("import_files")
def import_run(request: HttpRequest, token: str) -> HttpResponse:
    """A set of files: what it would add, how far its taking is, or what came of it."""
    run = _run(request, token)
    context = _context(request, run)
    template = "fleet/import_run.html#state" if request.htmx else "fleet/import_run.html"  # type: ignore[attr-defined]
    return render(request, template, context)


def _context(request: HttpRequest, run: ImportRun) -> dict[str, Any]:
    report = run.report
    files = [
        {
            "name": name,
            "added": report.get("added", {}).get(name, 0),
            "repeated": report.get("repeated", {}).get(name, 0),
            "bad": report.get("bad", {}).get(name, 0),
            "ignored": report.get("ignored_columns", {}).get(name, []),
        }
        for name in report.get("names", [])
    ]
    bad = sum(file["bad"] for file in files)
    page = Paginator(range(min(bad, MAX_BAD)), BAD_PER_PAGE).get_page(request.GET.get("page"))
    start = (page.number - 1) * BAD_PER_PAGE
    told = progress_of(run) if run.state == ImportRun.RUNNING else {}
    total = told.get("total") or 0
    return {
        "run": run,
        "files": files,
        "added": sum(file["added"] for file in files),
        "repeated": sum(file["repeated"] for file in files),
        "bad": bad,
        "bad_files": sum(1 for file in files if file["bad"]),
        "bad_rows": list(bad_rows(run, start, BAD_PER_PAGE)) if bad and run.state != ImportRun.RUNNING else [],
        "page": page,
        "query": "",
        "told": told,
        "percent": 100 * told.get("done", 0) // total if total else 0,
        "silent": fell_silent(run, timezone.now()),
        "kept": bool(kept_files(run)) if run.state in (ImportRun.CHECKED, ImportRun.FAILED) else False,
    }


@allowed("import_files")
@require_POST
def import_take(request: HttpRequest, token: str) -> HttpResponse:
    """Take the set in, beside the request."""
    run = _run(request, token)
    only = _bounds(request.access)  # type: ignore[attr-defined]
    if not kept_files(run):
        messages.error(request, _("Files are kept for a day, and these are gone. Hand them in again."))
    elif start_taking(run=run):
        background.start(
            take_files, task="fleet.take_files", run_id=run.pk, only=None if only is None else sorted(only)
        )
    return redirect("import_run", token=token)


@allowed("import_files")
@require_POST
def import_drop(request: HttpRequest, token: str) -> HttpResponse:
    """Throw the set away without taking it."""
    run = _run(request, token)
    if run.state in (ImportRun.CHECKED, ImportRun.FAILED):
        drop_files(run=run)
        messages.success(request, _("The files are thrown away. Nothing was added."))
    return redirect("import")


@allowed("import_files")
def import_bad(request: HttpRequest, token: str) -> HttpResponse:
    """Bad rows as a file to work through."""
    run = _run(request, token)
    return csv_download("bad_rows.csv", BAD_COLUMNS, bad_rows(run))
