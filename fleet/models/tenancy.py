"""Whose rows may be read: every query on a tenant's table runs inside a scope, or fails.

A request's scope is the set of contractors its person may see (set by the middleware from ``fleet.access``), so a
query that forgot to ask is empty rather than a leak. Commands and scans say ``all_tenants()`` out loud.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.db import models

_ALL = frozenset({-1})
_scope: ContextVar[frozenset[int] | None] = ContextVar("tenant_scope", default=None)


class NoTenantError(RuntimeError):
    """A tenant's table was read without saying for whom."""


@contextmanager
def tenant(contractor_ids: Iterable[int]) -> Iterator[None]:
    """Within it, tenant tables show rows of these contractors only."""
    token = _scope.set(frozenset(contractor_ids))
    try:
        yield
    finally:
        _scope.reset(token)


@contextmanager
def all_tenants() -> Iterator[None]:
    """Within it, tenant tables show every contractor's rows: for scans, imports by command, and sign-in."""
    token = _scope.set(_ALL)
    try:
        yield
    finally:
        _scope.reset(token)


class TenantManager(models.Manager):
    """The default manager of every table that belongs to a contractor."""

    def get_queryset(self) -> models.QuerySet[Any]:
        scope = _scope.get()
        if scope is None:
            raise NoTenantError(f"{self.model.__name__} was read outside tenant() or all_tenants().")
        rows = super().get_queryset()
        return rows if scope is _ALL else rows.filter(contractor_id__in=scope)
