"""Warranty claims on screen: what is waiting, and one claim from the repair to the maker's answer."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import Access, allowed
from fleet.clock import now_at
from fleet.forms.refusals import add_refusal
from fleet.record.writing import Refused
from fleet.views.asking import go, show
from fleet.vocabulary import CAUSES, COMPONENTS
from shop.bench.claim_reading import ClaimRow, claim_rows, claims_at, wanting, with_steps
from shop.bench.claiming import open_claim, take_step
from shop.estimate_sums import labor_of
from shop.forms.claims import FORMS, StepForm
from shop.models import WarrantyClaim
from shop.views.asking import by_shop, shop_asked
from shop.views.bench_work import job_in_sight
from shop.vocabulary import CLAIM_STEPS, CLAIM_WANTS, KEPT, LET_GO, PART_PAID, REFUSED, SENT


@allowed("work_bench")
def claims(request: HttpRequest) -> HttpResponse:
    """What waits for its maker's answer, longest first; what was not sent yet; what was answered."""
    shop = shop_asked(request, "work_bench")
    today = now_at(shop).date()
    rows = claims_at(shop, today)
    waiting = sorted((row for row in rows if row.waits), key=lambda row: row.stand.on)  # type: ignore[union-attr]
    context = {
        "waiting": [_shown(row) | {"days": (today - row.stand.on).days} for row in waiting],  # type: ignore[union-attr]
        "unsent": [_shown(row) for row in rows if row.stand is None],
        "answered": [_shown(row) for row in reversed(rows) if row.stand is not None and not row.waits],
        "asked": sum((row.stand.amount or Decimal(0) for row in waiting if row.stand), Decimal(0)),
    }
    return show(request, "shop/claims.html", context)


def _shown(row: ClaimRow) -> dict[str, Any]:
    line = row.claim.job.line
    stand = row.stand
    return {
        "url": reverse("claim", args=[row.claim.pk]),
        "name": line.name,
        "whose": line.drop_off.contractor,
        "part": COMPONENTS[row.failure.component] if row.failure else "",
        "what": row.failure.what if row.failure else "",
        "stand": stand,
        "words": CLAIM_STEPS[stand.step] if stand else "",
        "kept": row.part,
    }


@allowed("work_bench")
@require_POST
def claim_open(request: HttpRequest, pk: int) -> HttpResponse:
    """From a finished repair to its claim."""
    job = job_in_sight(request, pk)
    try:
        made = open_claim(job=job, by=by_shop(request), now=now_at(job.line.shop))
    except Refused as refusal:
        messages.error(request, refusal.message)
        return go(request, reverse("bench_line", args=[job.line_id]))
    return go(request, reverse("claim", args=[made.pk]))


@allowed("work_bench")
def claim(request: HttpRequest, pk: int) -> HttpResponse:
    """One claim: what it wants, its next step, what was done so far."""
    access: Access = request.access  # type: ignore[attr-defined]
    found = with_steps(WarrantyClaim.objects.at_shops(access.shop_ids)).filter(pk=pk).first()
    if found is None:
        raise Http404
    (row,) = claim_rows([found])
    shop = found.shop
    now = now_at(shop)
    kind = request.POST.get("kind", "") if request.method == "POST" else ""
    forms = {key: _form(request, key, row, posted=key == kind) for key in _offered(row)}
    if kind and kind not in forms:
        messages.error(request, _("That does not follow from where the claim is. Look at it again."))
        return go(request, reverse("claim", args=[pk]))
    if kind and forms[kind].is_valid():
        form = forms[kind]
        by = by_shop(request, form.cleaned_data["client_entry_id"])
        try:
            kept = take_step(claim=found, told=form.told(), by=by, today=now.date(), now=now)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("%(what)s: saved.") % {"what": capfirst(str(CLAIM_STEPS[kept.step]))})
            return go(request, reverse("claim", args=[pk]))
    line, failure = found.job.line, row.failure
    context = {
        "claim": found,
        "line": line,
        "unit": line.trimmer,
        "part": COMPONENTS[failure.component] if failure else "",
        "failure": failure,
        "cause": CAUSES[failure.cause] if failure and failure.cause else "",
        "bill": _bill(row),
        "stand": row.stand,
        "words": CLAIM_STEPS[row.stand.step] if row.stand else "",
        "kept": row.part,
        "missing": [(key, CLAIM_WANTS[key], _where(key, row)) for key in wanting(found, row.steps)],
        "forms": [(key, _heading(key), form) for key, form in forms.items()],
        "steps": [(s, CLAIM_STEPS[s.step], [CLAIM_WANTS[w] for w in s.without]) for s in row.steps],
        "part_paid": row.stand is not None and row.stand.step == PART_PAID,
    }
    bad = any(form.errors for form in forms.values())
    return show(request, "shop/claim.html", context, status=422 if bad else 200)


def _offered(row: ClaimRow) -> list[str]:
    """Steps that may come next, the likeliest first."""
    stand = row.stand
    if stand is None:
        return [KEPT, SENT] if not row.part else [SENT, KEPT]
    if stand.step == SENT:
        return ["answer", KEPT] if not row.part else ["answer"]
    again = [SENT] if stand.step in (REFUSED, PART_PAID) else []
    return ([LET_GO] if row.part else []) + again


def _heading(key: str) -> str:
    return {
        KEPT: _("Tag the part and put it away"),
        SENT: _("Send it"),
        "answer": _("Write the answer down"),
        LET_GO: _("Let the part go"),
    }[key]


def _form(request: HttpRequest, key: str, row: ClaimRow, *, posted: bool) -> StepForm:
    initial = {"amount": _bill(row)} if key == SENT and row.stand is None else {}
    today = now_at(row.claim.shop).date()
    return FORMS[key](request.POST if posted else None, today=today, initial=initial, auto_id=f"{key}_%s")


def _bill(row: ClaimRow) -> Decimal | None:
    """Parts and labor of the repair."""
    if row.failure is None:
        return None
    rate = row.claim.job.line.drop_off.contractor.labour_rate
    taken = row.claim.job.minutes_taken
    return (row.failure.parts_cost or Decimal(0)) + (labor_of(taken, rate) if taken is not None else Decimal(0))


def _where(key: str, row: ClaimRow) -> str:
    """The page on which what is missing is put right; empty: on this one."""
    line = row.claim.job.line
    return {
        "proof": reverse("unit", args=[line.trimmer_id]),
        "serial": reverse("unit", args=[line.trimmer_id]),
        "fuel": reverse("bench_sheet", args=[line.pk]),
        "picture": reverse("bench_photos", args=[line.pk]),
    }.get(key, "")
