"""Export: a fleet's whole record as files."""

from __future__ import annotations

import datetime as dt
import io
import logging
import zipfile
from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache

from fleet.access import Access, allowed
from fleet.forms.imports import ExportForm
from fleet.forms.posted import posted
from fleet.models import Contractor
from fleet.record.export_papers import NAME, notices_done_csv, notices_done_rows
from fleet.record.export_workbook import one_workbook
from fleet.record.exporting import export_files

log = logging.getLogger(__name__)
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@allowed("export_files")
@never_cache
def export_page(request: HttpRequest) -> HttpResponse:
    """Choose whose fleet and in which form; the answer is the file itself."""
    access: Access = request.access  # type: ignore[attr-defined]
    ids = [pk for pk in access.contractor_ids if access.can("export_files", pk)]
    contractors = access.contractors().filter(pk__in=ids)
    form = ExportForm(posted(request), contractors=contractors)
    if request.method == "POST" and form.is_valid():
        one = form.cleaned_data["contractor"]
        chosen = [one] if one is not None else list(contractors)
        log.info("Person %s exports contractors %s", request.user.pk, [c.pk for c in chosen])
        pack = _workbook if form.cleaned_data["form"] == "xlsx" else _zip
        return pack(chosen, access.today)
    context = {"form": form, "several": len(ids) > 1}
    return render(request, "fleet/export.html", context, status=422 if form.errors else 200)


def _file(content: bytes, kind: str, ending: str, today: dt.date) -> HttpResponse:
    response = HttpResponse(content, content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="fleet-{today:%Y-%m-%d}.{ending}"'
    return response


def _zip(contractors: Sequence[Contractor], today: dt.date) -> HttpResponse:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data, _rows in export_files(contractors):
            archive.writestr(name, data)
        # In a folder of its own: no import takes it, so it does not lie among the files that are handed in.
        if rows := notices_done_rows(contractors):
            archive.writestr(f"beside/{NAME}.csv", notices_done_csv(rows))
    return _file(content.getvalue(), "application/zip", "zip", today)


def _workbook(contractors: Sequence[Contractor], today: dt.date) -> HttpResponse:
    return _file(one_workbook(contractors), WORKBOOK, "xlsx", today)
