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
from fleet.upkeep.theft import units_by_tag
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


def bought_with(unit: Trimmer, most: int = 12) -> list[str]:
    """Tags of other units of the contractor that were bought the same day and have no paper yet."""
    if unit.bought_on is None:
        return []
    same = Trimmer.objects.filter(
        contractor=unit.contractor_id, bought_on=unit.bought_on, retired_on__isnull=True, purchase_papers__isnull=True
    )
    return list(same.exclude(pk=unit.pk).order_by("tag_key").values_list("tag", flat=True)[:most])


def _others(unit: Trimmer, tags: list[tuple[str, str]]) -> list[Trimmer]:
    """Units of the same contractor that wear these tags now, else wore them last."""
    keys = [key for _tag, key in tags]
    found = {row.tag_key: row for row in units_by_tag(unit.contractor, keys)}
    unknown = [tag for tag, key in tags if key not in found]
    if unknown:
        raise Refused(_("No unit wears: %(tags)s.") % {"tags": ", ".join(unknown)}, "others")
    return [row for row in found.values() if row.pk != unit.pk]


def _back(unit: Trimmer) -> str:
    return reverse("unit", args=[unit.pk]) + "#purchase-papers"


@allowed("keep_purchase_papers")
def purchase_papers(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a paper."""
    unit = _unit(request, pk)
    posted = request.method == "POST"
    form = PurchasePaperForm(
        request.POST if posted else None, request.FILES if posted else None, alike=bought_with(unit)
    )
    if posted and form.is_valid():
        upload = form.cleaned_data["picture"]
        try:
            units = [unit, *_others(unit, form.other_tags)]
            add_purchase_paper(
                units=units,
                upload=upload,
                size=upload.size,
                caption=form.cleaned_data["caption"],
                author=request.user,  # type: ignore[arg-type]
            )
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            tags = ", ".join(one.tag for one in units)
            saved(request, _("%(unit)s: purchase paper kept.") % {"unit": tags})
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
