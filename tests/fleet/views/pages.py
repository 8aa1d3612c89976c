"""Reading pages in tests: the text, its errors, and how many queries it took."""

from __future__ import annotations

import re
from html import unescape

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

PART = {"HX-Request": "true"}


def text(response, status: int = 200) -> str:
    """The page as text without tags and runs of spaces."""
    assert response.status_code == status, response.status_code
    html = re.sub(r"<(script|style|head)\b.*?</\1>", " ", response.content.decode(), flags=re.S)
    return _plain(html)


def _plain(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def errors(response, status: int = 422) -> dict[str, str]:
    """Errors by the id of the field they are tied to; those of the whole form under an empty name."""
    assert response.status_code == status, response.status_code
    html = response.content.decode()
    found = {
        field: _plain(words)
        for field, words in re.findall(r'<ul class="errorlist" id="(id_\w+)_error">(.*?)</ul>', html, re.S)
    }
    whole = re.search(r'<div class="form-errors"[^>]*>(.*?)</div>', html, re.S)
    return found | ({"": _plain(whole.group(1))} if whole else {})


def queries(client: Client, url: str) -> int:
    """Queries one page takes, after a first one has filled what is kept in the process."""
    client.get(url)
    with CaptureQueriesContext(
        connection,
    ) as taken:
        assert client.get(url).status_code == 200
    return len(taken)
