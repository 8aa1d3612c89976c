"""What a person is told when the page maker has too much to do."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _


def busy(request: HttpRequest, page: str) -> HttpResponse:
    """Back to the page the paper was asked from, with what to do."""
    messages.error(request, _("Other papers are being made just now. Wait half a minute, then ask again."))
    return redirect(page)
