"""The owner's side of an estimate: by the address in the letter, or signed in. Looking decides nothing."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from fleet.access import Access, allowed, public
from fleet.clock import now_at
from fleet.limits import Limit, address_of
from fleet.models import User
from fleet.models.tenancy import tenant
from fleet.record.writing import Refused
from shop import access as bench_access
from shop.bench.estimate_addresses import find_estimate
from shop.bench.estimate_words import answer_words, estimate_words
from shop.bench.estimating import answer_estimate, answer_to, why_over
from shop.bench.photos import MOST_PHOTOS
from shop.estimate_sums import BY_ADDRESS, SIGNED_IN
from shop.models import Estimate
from shop.views.pictures import picture_itself, pictures_of

# Nobody guesses 128 bits and a signature; this keeps a try at it from costing us anything.
LOOKS = Limit("estimate-looks", 60, 600)
# A page brings its pictures with it.
PICTURES = Limit("estimate-pictures", 60 * MOST_PHOTOS, 600)


@public("an address that cannot be guessed, signed, of one owner, that runs out and is answered once")
@never_cache
def estimate(request: HttpRequest, token: str) -> HttpResponse:
    """What the letter's address opens. One that has run out, or was followed by a newer one, shows no figures."""
    if not LOOKS.take(address_of(request)):
        return render(request, "429.html", status=429)
    address = find_estimate(token)
    if address is None:
        raise Http404
    with tenant([address.contractor_id]), translation.override(address.person.language or None):
        here = reverse("estimate", args=[token])
        return _answer_page(
            request, address.estimate, address.person, BY_ADDRESS, here,
            lambda photo: reverse("estimate_picture", args=[token, photo]),
        )  # fmt: skip


@public("the same address as the estimate's page, while that page shows its figures")
def estimate_picture(request: HttpRequest, token: str, photo: int) -> HttpResponse:
    """A picture on the page that the letter's address opens."""
    if not PICTURES.take(address_of(request)):
        return render(request, "429.html", status=429)
    address = find_estimate(token)
    if address is None:
        raise Http404
    with tenant([address.contractor_id]):
        estimate, now = address.estimate, now_at(address.estimate.line.shop)
        if why_over(estimate, now, answered=answer_to(estimate) is not None):
            raise Http404
        response = _private(picture_itself(estimate.line, photo))
    # When the address is over, so are its pictures: none is kept.
    response["Cache-Control"] = "private, no-store"
    return response


@allowed("answer_estimate")
@never_cache
def estimate_owner(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for an owner who is signed in."""
    access: Access = request.access  # type: ignore[attr-defined]
    found = Estimate.objects.known().select_related("answered").filter(pk=pk).first()
    if found is None or not access.can("answer_estimate", found.contractor_id):
        raise Http404
    found.line = bench_access.line(access, found.line_id)
    person: User = request.user  # type: ignore[assignment]
    return _answer_page(
        request, found, person, SIGNED_IN, reverse("estimate_owner", args=[pk]),
        lambda photo: reverse("bench_photo", args=[found.line_id, photo]),
    )  # fmt: skip


def _answer_page(
    request: HttpRequest, estimate: Estimate, person: User, how: str, here: str, picture: Callable[[int], str]
) -> HttpResponse:
    now = now_at(estimate.line.shop)
    given = answer_to(estimate)
    over = why_over(estimate, now, answered=given is not None)
    if over and (given is None or how == BY_ADDRESS):
        context = {"over": over, "name": estimate.line.name, "shop": estimate.line.shop, "bench": _bench(estimate)}
        return _private(render(request, "shop/estimate_over.html", context, status=404))
    if request.method == "POST":
        try:
            answer_estimate(
                estimate=estimate, answer=request.POST.get("answer", ""), how=how, said_by=str(person), author=person,
                now=now,
            )  # fmt: skip
        except Refused as refusal:
            messages.error(request, refusal.message)
        else:
            messages.success(request, _("Thank you. The shop has your answer."))
        return _private(HttpResponseRedirect(here))
    context = {
        **estimate_words(estimate),
        "answer": answer_words(given, estimate) if given else None,
        "person": person,
        "here": here,
        "shop": estimate.line.shop,
        "bench": _bench(estimate),
        "by_address": how == BY_ADDRESS,
        "pictures": pictures_of(estimate.line, picture),
    }
    return _private(render(request, "shop/estimate.html", context))


def _bench(estimate: Estimate) -> object:
    return getattr(estimate.line.shop, "bench", None)


def _private(response: HttpResponse) -> HttpResponse:
    """Neither found by search engines nor told to the next page."""
    response["X-Robots-Tag"] = "noindex"
    response["Referrer-Policy"] = "same-origin"
    return response
