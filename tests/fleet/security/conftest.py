"""Tries are counted and files kept for each test by itself."""

from tests.fleet.views.conftest import apart

__all__ = ["apart"]
