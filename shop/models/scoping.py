"""Whose bench rows may be read.

Rows carry their contractor, and ``objects`` answers within the contractors in scope, like every tenant's table. A shop
keeps its own bench work in sight after an arrangement has ended: ``objects.at_shops(ids)`` answers by shop instead, and
only for the shops named.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import models

from fleet.models.tenancy import TenantManager


class BenchManager(TenantManager):
    """The default manager of bench rows that carry both their contractor and their shop."""

    def at_shops(self, shop_ids: Iterable[int]) -> models.QuerySet[Any]:
        """These shops' rows, whichever contractors they are of."""
        return models.QuerySet(self.model, using=self._db).filter(shop_id__in=list(shop_ids))

    def known(self) -> models.QuerySet[Any]:
        """Rows to be named by one that was already found in sight: lines of a drop-off, jobs of a line.

        Reverse relations (``visit.lines``) answer within the contractors in scope, so a shop would lose the lines of
        its own old visits once an arrangement has ended; this does not.
        """
        return models.QuerySet(self.model, using=self._db)
