"""Does a crew tell it as it is: what its own walks say of guards, beside what the shop found when a part had failed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from fleet.upkeep.crew_looks import found_off
from fleet.upkeep.histories import SEEN_CODE, Columns

# The shop's count is called more than the walks explain where it would come about less often than this.
RARE = 0.05


@dataclass(frozen=True)
class WalkCheck:
    """Guards seen by a crew's walks and how many were off; the same as the shop noted at failures."""

    walks: int = 0
    walks_off: int = 0
    shop: int = 0
    shop_off: int = 0
    # The share off that the shop should find if the walks are right: failures come more often without guards.
    expected_share: float | None = None
    more_than_walks_say: bool = False

    @property
    def expected_off(self) -> float | None:
        """How many guards the shop should have found off, at most."""
        return None if self.expected_share is None else self.expected_share * self.shop

    @property
    def walk_share(self) -> float | None:
        return self.walks_off / self.walks if self.walks else None


def check_walks(
    checks: Columns,
    failures: Columns,
    hurt: NDArray[np.bool_],
    number: Mapping[int, int],
    ratio: float | None,
) -> list[WalkCheck]:
    """One check for each crew. ``ratio``: how many times as often a part may fail without guard (its upper limit).

    Parts that a missing guard can hurt fail more often without it, so among these the shop finds more guards off than
    walks do; among other failures it finds as many.
    """
    walk = found_off(checks["guard"])
    by_crew = (checks["seen_by"] == SEEN_CODE["crew"]) & ~np.isnan(walk)
    at_failure = found_off(failures["guard"])
    noted = ~np.isnan(at_failure)
    found = []
    for crew in number:
        mine, theirs = by_crew & (checks["crew"] == crew), noted & (failures["crew"] == crew)
        walks, walks_off = int(mine.sum()), int(walk[mine].sum())
        shop, shop_off = int(theirs.sum()), int(at_failure[theirs].sum())
        if not walks or not shop or ratio is None:
            found.append(WalkCheck(walks, walks_off, shop, shop_off))
            continue
        # One more look either way, so that a crew that never saw a guard off is not taken wholly at its word.
        share = (walks_off + 0.5) / (walks + 1.0)
        hurt_share = float(hurt[theirs].mean())
        expected = hurt_share * share * ratio / (1 + share * (ratio - 1)) + (1 - hurt_share) * share
        rare = float(binom.sf(shop_off - 1, shop, expected)) < RARE
        found.append(WalkCheck(walks, walks_off, shop, shop_off, expected, rare and shop_off > 0))
    return found
