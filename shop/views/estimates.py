"""An estimate: sent from the bench, and its owner's answer written down there after a call."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.access import Access, allowed
from fleet.clock import now_at
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.record.writing import Refused
from fleet.upkeep.standing_flags import hold_words_of
from fleet.views.asking import go, show
from shop import access as bench_access
from shop.bench.estimate_words import answer_words, estimate_words
from shop.bench.estimating import (
    STANDS_DAYS,
    agreed_on,
    answer_estimate,
    answer_to,
    send_estimate,
    sum_for,
    why_over,
)
from shop.bench.mailing import owners_of
from shop.bench.reading import told_at_counter
from shop.bench.words import job_words
from shop.estimate_sums import TELEPHONE
from shop.forms.estimates import CallForm, EstimateForm
from shop.models import Estimate, EstimateAddress
from shop.views.asking import by_shop, whole_address
from shop.views.bench_work import job_in_sight
from shop.views.pictures import pictures_of
from shop.vocabulary import IN_SHOP


@allowed("work_bench")
def estimate_send(request: HttpRequest, pk: int) -> HttpResponse:
    """The figures for one fault, looked over and sent to the owner, or kept for a call."""
    access: Access = request.access  # type: ignore[attr-defined]
    job = job_in_sight(request, pk)
    unit = job.line.trimmer
    # Its owner's page tells what the unit is worth: only while the shop looks after it.
    if not job.job.startswith("fault.") or unit is None or not access.can("work_bench", unit.contractor_id):
        raise Http404
    if job.line.state not in IN_SHOP or job.done_at is not None:
        return go(request, reverse("bench_line", args=[job.line_id]))
    now = now_at(job.line.shop)
    given = {name: request.GET[name] for name in ("way", "kind", "minutes", "parts") if name in request.GET}
    given.setdefault("minutes", str(job.minutes))
    held = bool(hold_words_of([unit]))
    form = EstimateForm(posted(request), initial={"rests": held, **given})
    sums = None
    if request.method == "POST" and form.is_valid():
        asked = form.asked()
        if "look" not in request.POST:
            try:
                made = send_estimate(
                    job=job, asked=asked, mail="mail" in request.POST, portal=whole_address(request, "/"),
                    by=by_shop(request, form.cleaned_data["client_entry_id"]), now=now,
                )  # fmt: skip
            except Refused as refusal:
                add_refusal(form, refusal)
            else:
                messages.success(request, _sent_words(made))
                return go(request, reverse("bench_estimate", args=[made.pk]))
        sums = sum_for(job, asked.minutes, asked.parts)
    elif request.method == "GET" and given.get("parts") is not None:
        # What Repair or swap handed over is reckoned at once.
        trial = EstimateForm({**given, "client_entry_id": form["client_entry_id"].value()})
        if trial.is_valid():
            sums = sum_for(job, trial.cleaned_data["minutes"], trial.cleaned_data["parts"])
    limit = agreed_on(job.line)
    context = {
        "job": job,
        "line": job.line,
        "words": job_words(job.job),
        "form": form,
        "sums": sums,
        "others": [(job_words(work.job), work) for work in sums.other] if sums else [],
        "limit": limit,
        "over_limit": sums is not None and limit is not None and sums.total > limit,
        "people": owners_of(job.line.drop_off.contractor),
        "days": STANDS_DAYS,
        "back": reverse("repair_or_swap", args=[pk]),
        "before": Estimate.objects.known().filter(job=job, answered=None).exists(),
    }
    return show(request, "shop/estimate_send.html", context, status=422 if form.errors else 200)


@allowed("work_bench")
def bench_estimate(request: HttpRequest, pk: int) -> HttpResponse:
    """What was sent, to whom, and the answer; one that came by telephone is written down here."""
    estimate = _estimate_at_bench(request, pk)
    now = now_at(estimate.line.shop)
    form = CallForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            answer_estimate(
                estimate=estimate, how=TELEPHONE, author=request.user, now=now, **form.cleaned_data  # type: ignore[arg-type]
            )  # fmt: skip
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The answer is written down."))
            return go(request, reverse("bench_line", args=[estimate.line_id]))
    given = answer_to(estimate)
    over = "" if given is not None else why_over(estimate, now)
    told = EstimateAddress.objects.known().filter(estimate=estimate).select_related("person").order_by("pk")
    context = {
        **estimate_words(estimate),
        "line": estimate.line,
        "form": form,
        "answer": answer_words(given, estimate) if given else None,
        "over": over,
        "may_answer": given is None and not over,
        "addresses": list(told),
        "phone": _phone(estimate),
        "pictures": pictures_of(estimate.line, lambda photo: reverse("bench_photo", args=[estimate.line_id, photo])),
        "back": reverse("bench_line", args=[estimate.line_id]),
    }
    return show(request, "shop/bench_estimate.html", context, status=422 if form.errors else 200)


def _estimate_at_bench(request: HttpRequest, pk: int) -> Estimate:
    """The estimate, if its line is in sight of who works at this bench; else 404."""
    found = Estimate.objects.known().select_related("answered__author", "made_by").filter(pk=pk).first()
    if found is None:
        raise Http404
    found.line = bench_access.line(request.access, found.line_id, "work_bench")  # type: ignore[attr-defined]
    return found


def _phone(estimate: Estimate) -> str:
    told = told_at_counter(estimate.line_id)
    return "" if told is None else str(told.phone)


def _sent_words(estimate: Estimate) -> str:
    names = EstimateAddress.objects.known().filter(estimate=estimate).select_related("person").order_by("pk")
    who = ", ".join(str(address.person) for address in names)
    if who:
        return _("The estimate goes to %(who)s by e-mail.") % {"who": who}
    return _("The estimate is kept. Call, and write the answer down here.")
