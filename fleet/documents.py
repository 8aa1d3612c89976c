"""Papers as PDF: one way from a template to bytes, for every paper.

Pages are tagged (PDF/UA-1), so that a screen reader finds headings, lists and the words of drawings. The page maker
reads our own static files and nothing else: what people typed into the portal can name no file and no address.
"""

from __future__ import annotations

import mimetypes
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpResponse
from django.template.loader import render_to_string
from django.utils.translation import get_language
from weasyprint import HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher, URLFetcherResponse

from fleet.at_rest import collector_at_rest
from fleet.paper_sizes import PaperSize

# No such host: addresses in templates are relative to it, and only those of static files are answered.
BASE_URL = "http://papers.invalid"
# Where a template finds the pictures that its view made, such as codes.
PICTURES = "/made-for-this-paper/"
VARIANT = "pdf/ua-1"
# Longer than any paper takes; whoever waits longer is told to ask again.
PATIENCE_SECONDS = 25.0
# The page maker takes one processor and some memory: one paper at a time in each process.
_one_at_a_time = threading.Lock()


class BusyError(RuntimeError):
    """Others' papers are being made; ask again in a moment."""


class OurFiles(URLFetcher):
    """Answers addresses of our own static files, and of pictures made for this paper.

    Every other address, whatever its kind, is refused unread.
    """

    def __init__(self, pictures: Mapping[str, bytes] | None = None) -> None:
        super().__init__(allowed_protocols=(), allow_redirects=False)
        self._pictures = {f"{BASE_URL}{PICTURES}{name}": content for name, content in (pictures or {}).items()}

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        """The content of one of our static files or pictures."""
        content = self._pictures.get(url)
        if content is None:
            name = static_name(url)
            content = None if name is None else _read(name)
        if content is None:
            raise ValueError("not one of our own files")
        kind = mimetypes.guess_type(url)[0] or "application/octet-stream"
        return URLFetcherResponse(url, content, {"Content-Type": kind})


def static_name(url: str) -> str | None:
    """The name of the static file that this address means; None where it means anything else."""
    base = "/" + settings.STATIC_URL.lstrip("/")
    parts = urlsplit(url)
    ours = f"{parts.scheme}://{parts.netloc}" == BASE_URL and parts.path.startswith(base)
    if not ours or parts.query:
        return None
    name = unquote(parts.path[len(base) :])
    strange = not name or name.startswith("/") or "\\" in name or "\0" in name or ".." in name.split("/")
    return None if strange else name


def _read(name: str) -> bytes | None:
    """Names with a fingerprint lie where static files are collected; others with the code."""
    found = finders.find(name)
    if found is None and staticfiles_storage.exists(name):
        found = staticfiles_storage.path(name)
    path = Path(found) if found is not None else None
    return path.read_bytes() if path is not None and path.is_file() else None


def make_pdf(
    template: str, context: Mapping[str, Any], paper: PaperSize, pictures: Mapping[str, bytes] | None = None
) -> bytes:
    """The paper as PDF bytes; ``pictures`` by the names its template uses. ``BusyError`` after too long a wait."""
    frame = {"paper": paper, "language": get_language() or "en-us", "pictures": PICTURES}
    html = render_to_string(template, {**context, **frame})
    if not _one_at_a_time.acquire(timeout=PATIENCE_SECONDS):
        raise BusyError
    try:
        with collector_at_rest():
            fonts = FontConfiguration()
            page = HTML(string=html, base_url=BASE_URL, url_fetcher=OurFiles(pictures), media_type="print")
            return page.write_pdf(pdf_variant=VARIANT, font_config=fonts) or b""
    finally:
        _one_at_a_time.release()


def pdf_answer(content: bytes, name: str) -> HttpResponse:
    """The PDF opened in the browser, kept by nobody on the way; ``name`` without its ending."""
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    response["Cache-Control"] = "private, no-store"
    return response
