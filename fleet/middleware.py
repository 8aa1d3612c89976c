"""Who is looking: attaches the person's access to the request and turns their language on."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import translation

from fleet.access import access_of
from fleet.models.tenancy import tenant


class PersonMiddleware:
    """Sets ``request.access``; sends signed-out htmx requests to the sign-in page as a whole page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.access = access_of(request.user)  # type: ignore[attr-defined]
        language = getattr(request.user, "language", "")
        if language:
            translation.activate(language)
            request.LANGUAGE_CODE = language
        with tenant(request.access.contractor_ids):  # type: ignore[attr-defined]
            response = self.get_response(request)
        # A redirect that htmx follows by itself would put the sign-in form inside a row of the list.
        htmx = getattr(request, "htmx", False)
        if htmx and response.status_code in (301, 302) and not request.user.is_authenticated:
            location = response["Location"]
            response = HttpResponse(status=204)
            response["HX-Redirect"] = location
        return response
