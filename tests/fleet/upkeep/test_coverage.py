"""The 80 % bands of projected due dates against simulated fleets whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from tests.fleet.upkeep.coverage_study import checked_jobs


@pytest.mark.slow
def test_bands_hold_the_true_date_as_often_as_they_say() -> None:
    checked = [c for seed in (1, 2, 3, 4) for c in checked_jobs(seed)]
    metered = [c.inside for c in checked if c.metered]
    guessed = [c.inside for c in checked if not c.metered]
    assert len(metered) > 1000
    assert len(guessed) > 3000
    assert 0.75 <= np.mean(metered) <= 0.88
    assert 0.75 <= np.mean(guessed) <= 0.88
