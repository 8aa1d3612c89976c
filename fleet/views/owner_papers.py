"""How an owner's page offers its paper as PDF, and how the paper is made and sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.text import slugify

from fleet.documents import BusyError, make_pdf, pdf_answer
from fleet.paper_sizes import PAPER_SIZES, PaperSize, paper_asked
from fleet.views.busy import busy
from fleet.views.owner_scope import OwnerScope

A_YEAR = 365 * 86_400


@dataclass(frozen=True)
class PaperOffer:
    """A paper to ask for: its address, what goes along, and the sizes of paper with the one used last."""

    url: str
    query: list[tuple[str, str]]
    sizes: list[PaperSize]
    usual: str


def paper_offer(request: HttpRequest, name: str, query: Mapping[str, Any]) -> PaperOffer:
    """The paper of that name, asked for with ``query``."""
    pairs = [(key, str(value)) for key, value in query.items()]
    return PaperOffer(reverse(name), pairs, list(PAPER_SIZES.values()), paper_asked("", request.COOKIES).key)


def owner_paper(
    request: HttpRequest, template: str, scope: OwnerScope, context: Mapping[str, Any], *, title: str, back: str,
    pictures: Mapping[str, bytes] | None = None,
) -> HttpResponse:  # fmt: skip
    """The paper; ``back`` names the page that somebody is sent to while others' papers are being made."""
    size = paper_asked(request.GET.get("paper", ""), request.COOKIES)
    contractor = scope.contractor
    frame = {"scope": scope, "heading": title, "invented": contractor is not None and contractor.invented}
    try:
        content = make_pdf(template, {**frame, **context}, size, pictures)
    except BusyError:
        return busy(request, back)
    response = pdf_answer(content, slugify(f"{title} {contractor or ''} {scope.today}") or "paper")
    response.set_cookie("paper", size.key, max_age=A_YEAR, samesite="Lax", httponly=True)
    return response
