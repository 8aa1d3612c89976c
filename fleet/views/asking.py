"""What the crew's pages ask of a request: which day it is there, who writes, where to go back to, what was saved."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlsplit

from django.contrib import messages
from django.core import signing
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.utils.http import url_has_allowed_host_and_scheme

from fleet.record.undo import PUT_OFF
from fleet.record.writing import KIND_OF, By

UNDO_SALT = "undo"
PAGE = "page"


def by_of(request: HttpRequest, contractor_id: int, client_entry_id: uuid.UUID | None = None) -> By:
    """The person asking, as the writers want them."""
    access = request.access  # type: ignore[attr-defined]
    return By(request.user, "screen", access.sees_as(contractor_id), client_entry_id)  # type: ignore[arg-type]


def whole_number(text: str | None) -> int | None:
    """An id in an address; 404 for anything that is none."""
    if not text:
        return None
    try:
        return int(text)
    except ValueError:
        raise Http404 from None


def back_to(request: HttpRequest, otherwise: str) -> str:
    """The page the person came from, if it is one of ours."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    # Checked without the host: an address that names one, even ours, is not followed.
    fits = wanted.startswith("/") and url_has_allowed_host_and_scheme(wanted, allowed_hosts=None)
    return wanted if fits else otherwise


def path_of(address: str | None) -> str:
    """The path within an address a browser names; nothing for one that cannot be read."""
    try:
        return urlsplit(address or "").path
    except ValueError:
        return ""


def go(request: HttpRequest, to: str) -> HttpResponse:
    """Go on to a page: htmx follows within the page it stands on, and loads any other as a whole."""
    htmx = request.htmx  # type: ignore[attr-defined]
    if htmx and path_of(htmx.current_url) != path_of(to):
        response = HttpResponse(status=204)
        response["HX-Redirect"] = to
        return response
    return HttpResponseRedirect(to)


def wants_page(request: HttpRequest) -> bool:
    """Whether htmx asks for what changes within the page it stands on."""
    htmx = request.htmx  # type: ignore[attr-defined]
    return bool(htmx) and htmx.target == PAGE


def show(request: HttpRequest, template: str, context: Mapping[str, Any], status: int = 200) -> HttpResponse:
    """The whole page, or its part named ``page``."""
    name = f"{template}#{PAGE}" if wants_page(request) else template
    response = render(request, name, dict(context), status=status)
    # One address, two answers: a browser's cache must not hand the part to somebody who asks for the whole.
    patch_vary_headers(response, ["HX-Request", "HX-Target"])
    return response


def show_form(
    request: HttpRequest, template: str, context: Mapping[str, Any], form_id: str, bad: bool = False
) -> HttpResponse:
    """A form on a page of its own, or, where htmx opened it inside a list, in the place it was opened."""
    htmx = request.htmx  # type: ignore[attr-defined]
    inside = bool(htmx) and path_of(htmx.current_url) != request.path
    response = render(
        request,
        f"{template}#form" if inside else template,
        {**context, "form_id": form_id, "inside": inside},
        status=422 if bad else 200,
    )
    if inside and bad:
        response["HX-Retarget"] = f"#{form_id}"
        response["HX-Reswap"] = "outerHTML"
    return response


def saved(request: HttpRequest, words: str, entries: Sequence[Any] = ()) -> None:
    """Say that something was saved, with a button that takes just this back."""
    tags = ""
    if entries:
        keys = [(KIND_OF.get(type(entry), PUT_OFF), entry.pk) for entry in entries]
        tags = "undo:" + signing.dumps(keys, salt=UNDO_SALT, compress=True)
    messages.success(request, words, extra_tags=tags)
