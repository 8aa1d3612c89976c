"""Expected days late and early of a drop-off, when the day a unit falls due is known only as a band.

The due day is two half-normals that meet at the median, each as wide as its side of the 80 % band.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]

HALF_BAND = 1.2815515655446004  # 90th percentile of the standard normal distribution
_NARROWEST = 0.05  # days; a due day known for certain
_ROOT = np.sqrt(2.0 / np.pi)


def _density(z: Array) -> Array:
    return np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)


def days_late_and_early(day: Array, early: Array, median: Array, late: Array) -> tuple[Array, Array]:
    """E max(day - due, 0) and E max(due - day, 0), broadcast over the arguments; all in days from one origin."""
    left = np.maximum((median - early) / HALF_BAND, _NARROWEST)
    right = np.maximum((late - median) / HALF_BAND, _NARROWEST)
    x = np.asarray(day - median, dtype=float)
    before = left * (x / left * ndtr(x / left) + _density(x / left))
    z = np.maximum(x, 0.0) / right
    after = 0.5 * x + 0.5 * left * _ROOT + right * (z * (ndtr(z) - 0.5) + _density(z) - _density(np.zeros(1)))
    lateness = np.where(x < 0, before, after)
    mean_due = 0.5 * _ROOT * (right - left)
    return lateness, np.maximum(lateness - x + mean_due, 0.0)
