"""What a form is bound to."""

from __future__ import annotations

from django.http import HttpRequest, QueryDict


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent; an empty sending is one too, and must be answered with what is missing."""
    return request.POST if request.method == "POST" else None
