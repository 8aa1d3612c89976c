"""Pages for what went wrong."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The page had been open too long or came from elsewhere: nothing was saved, and the page says how to go on."""
    return render(request, "403.html", {"stale_form": True}, status=403)
