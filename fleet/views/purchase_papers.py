"""Purchase papers of a unit: kept as pictures for warranty claims, police and insurer; the owner's and the office's."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.forms.refusals import add_refusal
from fleet.forms.unit_papers import PurchasePaperForm
from fleet.models import PurchasePaper, Trimmer
from fleet.record.purchase_papers import add_purchase_paper, remove_purchase_paper
from fleet.record.writing import Refused
from fleet.views.asking import go, saved
from fleet.views.pictures import jpeg_answer
from fleet.views.unit_changes import form_page


def _unit(request: HttpRequest, pk: int) -> Trimmer:
    return request.access.unit(pk, "keep_purchase_papers")  # type: ignore[attr-defined]


def _paper(unit: Trimmer, pk: int) -> PurchasePaper:
    row = PurchasePaper.objects.filter(pk=pk, trimmer=unit).first()
    if row is None:
        raise Http404
    return row


def _back(unit: Trimmer) -> str:
    return reverse("unit", args=[unit.pk]) + "#purchase-papers"


@allowed("keep_purchase_papers")
def purchase_papers(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a paper."""
    unit = _unit(request, pk)
    posted = request.method == "POST"
    form = PurchasePaperForm(request.POST if posted else None, request.FILES if posted else None)
    if posted and form.is_valid():
        upload = form.cleaned_data["picture"]
        try:
            add_purchase_paper(
                unit=unit,
                upload=upload,
                size=upload.size,
                caption=form.cleaned_data["caption"],
                author=request.user,  # type: ignore[arg-type]
            )
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            saved(request, _("%(unit)s: purchase paper kept.") % {"unit": unit.tag})
            return go(request, _back(unit))
    lead = _(
        "It goes on the theft sheet, and a warranty claim asks for it. Keep the original all the same. Seen by the "
        "owner and the office alone."
    )
    return form_page(request, unit, form, heading=_("add a purchase paper"), submit=_("Add"), lead=lead)


@allowed("keep_purchase_papers")
def purchase_paper(request: HttpRequest, pk: int, paper: int) -> HttpResponse:
    """The picture itself: it has no address but this one."""
    return jpeg_answer(_paper(_unit(request, pk), paper).picture)


@allowed("keep_purchase_papers")
@require_POST
def purchase_paper_remove(request: HttpRequest, pk: int, paper: int) -> HttpResponse:
    """Take a paper away."""
    unit = _unit(request, pk)
    remove_purchase_paper(paper=_paper(unit, paper))
    saved(request, _("%(unit)s: purchase paper removed.") % {"unit": unit.tag})
    return go(request, _back(unit))
