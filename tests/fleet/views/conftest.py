"""Tries are counted and files kept for each test by itself."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def apart(settings, request, tmp_path):
    """A cache and a place for uploads of this test's own."""
    settings.CACHES = {
        "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": request.node.nodeid}
    }
    settings.MEDIA_ROOT = str(tmp_path / "media")


@pytest.fixture
def at_once(monkeypatch):
    """Work beside the request is done before it answers."""
    monkeypatch.setattr("fleet.background.start", lambda work, *, task="", **kwargs: work(**kwargs))
