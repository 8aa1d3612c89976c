"""Recall notices: which are running, which units in sight they name, putting one up, ending one."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.access import Access, allowed
from fleet.forms.catalog import EndNoticeForm, NoticeForm
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.models import RecallNotice, TrimmerModel
from fleet.record.recalls import add_notice, end_notice
from fleet.record.writing import Refused
from fleet.upkeep.recalls import units_under_notices


@allowed("see_fleet")
def recalls(request: HttpRequest) -> HttpResponse:
    """Notices with the units in sight that they name. Models nobody in sight has are left out."""
    access: Access = request.access  # type: ignore[attr-defined]
    everything = request.GET.get("all") == "yes"
    editable = access.can("edit_recalls")
    lines = units_under_notices(access.contractor_ids, ended=everything)
    if not editable:
        lines = [line for line in lines if line.listed or line.cannot_tell or line.done]
    running = [line for line in lines if not line.notice.ended_on]
    context = {
        "lines": lines,
        "named": sum(len(line.listed) for line in running),
        "unsure": sum(len(line.cannot_tell) for line in running),
        "all": everything,
        "recalls_editable": editable,
    }
    return render(request, "fleet/recalls.html", context)


@allowed("edit_recalls")
def recall_add(request: HttpRequest) -> HttpResponse:
    """Put up a notice."""
    models = TrimmerModel.objects.order_by("maker", "name", "pk")
    form = NoticeForm(posted(request), models=models, initial={"model": request.GET.get("model", "")})
    if request.method == "POST" and form.is_valid():
        today = request.access.today  # type: ignore[attr-defined]
        try:
            notice = add_notice(**form.cleaned_data, by=request.user, today=today)  # type: ignore[arg-type]
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The notice is up."))
            return redirect(f"{reverse('recalls')}#notice-{notice.pk}")
    return render(request, "fleet/recall_add.html", {"form": form}, status=422 if form.errors else 200)


@allowed("edit_recalls")
def recall_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a notice down."""
    notice = RecallNotice.objects.select_related("model").filter(pk=pk, ended_on__isnull=True).first()
    if notice is None:
        raise Http404
    access: Access = request.access  # type: ignore[attr-defined]
    form = EndNoticeForm(posted(request), notice=notice, today=access.today)
    if request.method == "POST" and form.is_valid():
        end_notice(notice=notice, on=form.cleaned_data["ended_on"], by=request.user)  # type: ignore[arg-type]
        messages.success(request, _("The notice has ended."))
        return redirect("recalls")
    return render(
        request, "fleet/recall_end.html", {"form": form, "notice": notice}, status=422 if form.errors else 200
    )
