"""Guard habits of many crews at once: the chain of :mod:`.guard_chain` by posterior means on a fixed grid."""

from __future__ import annotations

import numpy as np

from fleet.reliability.guard_chain import PACE_PRIOR, SHARE_PRIOR, GuardLooks, off_after
from fleet.reliability.lifetimes import FloatArray, IntArray

#: Hours between two looks are put together within about a tenth of each other.
GAPS = np.geomspace(0.5, 800.0, 72)
_LOGIT, _PACE = np.meshgrid(np.linspace(-6.0, 3.0, 37), np.linspace(-7.0, 0.0, 22), indexing="ij")
SHARES, PACES = 1 / (1 + np.exp(-_LOGIT.ravel())), np.exp(_PACE.ravel())
_LOG_PRIOR = (
    -0.5 * ((_LOGIT.ravel() - SHARE_PRIOR[0]) / SHARE_PRIOR[1]) ** 2
    - 0.5 * ((_PACE.ravel() - PACE_PRIOR[0]) / PACE_PRIOR[1]) ** 2
)


def _table() -> FloatArray:
    """Log chance of every step (start, end, gap) at every grid point, (4 * gaps, grid)."""
    off = np.stack([off_after(SHARES, PACES, np.full(SHARES.size, s), GAPS[:, None]) for s in (0.0, 1.0)])
    off = np.clip(off, 1e-12, 1 - 1e-12)
    return np.log(np.stack([1 - off, off], axis=1)).reshape(4 * GAPS.size, SHARES.size)


def crew_habits(looks: GuardLooks, crews: int) -> tuple[FloatArray, FloatArray]:
    """Posterior mean share of hours off and changes per hour of every crew.

    Parameters
    ----------
    looks : GuardLooks
        With crews coded 0..crews-1.
    crews : int

    Returns
    -------
    share, pace : ndarray, shape (crews,)
        ``pace`` per engine hour, the exponential of its mean log.

    Notes
    -----
    The likelihood is that of :func:`fleet.reliability.guard_chain.fit_chains`, the hours between looks rounded to
    steps of a tenth. A crew without a look has the prior's means.

    Examples
    --------
    >>> looks = GuardLooks.build([1, 1, 1, 1], [0, 0, 0, 0], [0, 10, 20, 30], [0, 0, 0, 0])
    >>> share, pace = crew_habits(looks, 2)
    >>> bool(share[0] < share[1] < 0.35)
    True
    """
    same = looks.unit[1:] == looks.unit[:-1]
    known = same & ~np.isnan(looks.left[:-1]) & ~np.isnan(looks.found[1:])
    start, end = looks.left[:-1][known].astype(np.int64), looks.found[1:][known].astype(np.int64)
    edges = np.sqrt(GAPS[1:] * GAPS[:-1])
    gap = np.searchsorted(edges, np.diff(looks.hour)[known])
    step = (start * 2 + end) * GAPS.size + gap
    crew: IntArray = looks.crew[1:][known]
    width = 4 * GAPS.size
    counts = np.bincount(crew * width + step, minlength=crews * width).reshape(crews, width)
    lone = np.concatenate([[True], ~same | np.isnan(looks.left[:-1])])[: looks.hour.size] & ~np.isnan(looks.found)
    off = np.bincount(looks.crew[lone], weights=looks.found[lone], minlength=crews)
    on = np.bincount(looks.crew[lone], minlength=crews) - off
    used = np.flatnonzero(counts.any(axis=0))
    logs = counts[:, used] @ _TABLE[used] + np.outer(off, np.log(SHARES)) + np.outer(on, np.log1p(-SHARES)) + _LOG_PRIOR
    weight = np.exp(logs - logs.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    return weight @ SHARES, np.exp(weight @ np.log(PACES))


_TABLE = _table()
