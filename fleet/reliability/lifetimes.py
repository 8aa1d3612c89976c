"""The one input of every fit: rows of exposure with entry, event interval, covariates and a second clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.floating[Any]]
IntArray = NDArray[np.integer[Any]]


@dataclass(frozen=True, kw_only=True)
class Lifetimes:
    """Rows of exposure, each under constant conditions.

    All fields but ``lower`` may be left out. One-dimensional fields have shape (n,); a scalar is spread over the rows.

    Parameters
    ----------
    lower, upper : array_like of float, shape (n,), engine hours
        The event lies in (lower, upper]. ``lower == upper`` is an exact event; ``upper == inf`` (the default) is no
        event
        up to ``lower``; ``lower == entry < upper < inf`` is an event found at the first look (left-censored).
    entry : array_like of float, shape (n,), engine hours, default 0
        Where the row comes under observation: later than 0 for delayed entry and for the later pieces of a history.
    group : array_like of int, shape (n,), default 0
        Model x component, coded 0..G-1.
    since : array_like of float, shape (n,), engine hours, optional
        Hours since the task was last done, at ``entry``.
    covariates : array_like of float, shape (n, p) or (n,), optional
        Constant over the row. A change of conditions starts a new row.
    spell : array_like of int, shape (n,), optional
        Rows sharing a value are pieces of one history, cut where covariates change. Give each piece the part of the
        event
        interval that falls into it: a history 0-80 h cut at 40 h with an event in (30, 80] is
        ``entry=[0, 40], lower=[30, 40], upper=[40, 80]``.
    unit : array_like of int, shape (n,), optional
        For robust variances and factors per unit; row number by default.
    groups : int, optional
        Number of groups, where the last ones may have no row at all.

    Raises
    ------
    ValueError
        Naming the first bad row: NaN or negative hours, ``entry > lower``, ``upper < lower``, an event at or before
        entry,
        overlapping pieces or two groups within a spell.

    Notes
    -----
    A row with ``lower == entry`` and ``upper == inf`` observes nothing and changes no result.

    Examples
    --------
    >>> rows = Lifetimes(lower=[50, 80, 80], upper=[50, 120, float("inf")], entry=[0, 20, 0])
    >>> rows.exact.tolist(), rows.interval.tolist()
    ([True, False, False], [False, True, False])
    >>> Lifetimes(lower=[10.0], entry=[20.0])
    Traceback (most recent call last):
        ...
    ValueError: row 0: entry 20 lies after lower 10
    """

    lower: Any
    upper: Any = np.inf
    entry: Any = 0.0
    group: Any = 0
    since: Any = None
    covariates: Any = None
    spell: Any = None
    unit: Any = None
    groups: Any = None

    def __post_init__(self) -> None:
        lower = np.atleast_1d(np.asarray(self.lower, dtype=float))
        if lower.ndim != 1:
            raise ValueError("lower must be one-dimensional")
        n = lower.size
        fill = {
            "lower": lower,
            "upper": _column(self.upper, n, "upper"),
            "entry": _column(self.entry, n, "entry"),
            "group": _codes(self.group, n, "group"),
            "since": None if self.since is None else _column(self.since, n, "since"),
            "spell": None if self.spell is None else _codes(self.spell, n, "spell"),
            "unit": np.arange(n) if self.unit is None else _codes(self.unit, n, "unit"),
            "covariates": _matrix(self.covariates, n),
        }
        for name, value in fill.items():
            object.__setattr__(self, name, value)
        self._check_rows()
        seen = int(self.group.max()) + 1 if n else 0
        count = seen if self.groups is None else int(self.groups)
        if count < seen:
            raise ValueError(f"row {int(np.argmax(self.group >= count))}: group beyond the stated {count} groups")
        object.__setattr__(self, "groups", max(count, 1))

    def _check_rows(self) -> None:
        entry, lower, upper = self.entry, self.lower, self.upper
        for name in ("entry", "lower", "upper", "since"):
            value = getattr(self, name)
            if value is None:
                continue
            _refuse(np.isnan(value), lambda i, name=name: f"{name} is not a number")
            _refuse(value < 0, lambda i, name=name, value=value: f"{name} {value[i]:g} is negative")
        _refuse(~np.isfinite(entry), lambda i: "entry is not finite")
        _refuse(~np.isfinite(lower), lambda i: "lower is not finite")
        _refuse(entry > lower, lambda i: f"entry {entry[i]:g} lies after lower {lower[i]:g}")
        _refuse(upper < lower, lambda i: f"upper {upper[i]:g} lies before lower {lower[i]:g}")
        _refuse(upper <= entry, lambda i: f"an event at {upper[i]:g} is not after entry {entry[i]:g}")
        _refuse(self.group < 0, lambda i: f"group {self.group[i]} is negative")
        _refuse(~np.isfinite(self.covariates).all(axis=1), lambda i: "a covariate is not finite")
        if self.spell is not None and self.size > 1:
            self._check_spells()

    def _check_spells(self) -> None:
        order = np.lexsort((self.entry, self.spell))
        same = self.spell[order][1:] == self.spell[order][:-1]
        before, after = order[:-1], order[1:]
        end = np.where(np.isfinite(self.upper), self.upper, self.lower)
        for bad, text in (
            (same & (self.group[before] != self.group[after]), "a spell holds two groups"),
            (same & (end[before] > self.entry[after]), "overlaps the piece before it in its spell"),
        ):
            if bad.any():
                raise ValueError(f"row {int(after[bad].min())}: {text}")

    @property
    def size(self) -> int:
        """Number of rows."""
        return int(self.lower.size)

    @property
    def exact(self) -> NDArray[np.bool_]:
        """Rows whose event time is known, shape (n,)."""
        return self.lower == self.upper

    @property
    def interval(self) -> NDArray[np.bool_]:
        """Rows whose event is known to lie in an interval (left-censored rows too), shape (n,)."""
        return (self.lower < self.upper) & np.isfinite(self.upper)

    def event_counts(self) -> IntArray:
        """Events per group, shape (G,): exact ones, and one for each spell (or row) with an event interval."""
        counts = np.bincount(self.group[self.exact], minlength=self.groups)
        looked = np.flatnonzero(self.interval)
        if self.spell is not None and looked.size:
            looked = looked[np.unique(self.spell[looked], return_index=True)[1]]
        return counts + np.bincount(self.group[looked], minlength=self.groups)

    def hours(self) -> FloatArray:
        """Observed hours per group, shape (G,): an event interval counts to its middle."""
        last = np.where(
            self.interval, (self.lower + np.where(np.isfinite(self.upper), self.upper, 0.0)) / 2, self.lower
        )
        return np.bincount(self.group, weights=last - self.entry, minlength=self.groups).astype(float)

    def take(self, rows: ArrayLike) -> Lifetimes:
        """The chosen rows (mask or numbers) with the same group codes."""
        index = np.asarray(rows)
        pick = {
            name: None if getattr(self, name) is None else getattr(self, name)[index]
            for name in ("lower", "upper", "entry", "group", "since", "covariates", "spell", "unit")
        }
        return Lifetimes(groups=self.groups, **pick)


def _column(value: ArrayLike, n: int, name: str) -> FloatArray:
    array = np.asarray(value, dtype=float)
    if array.ndim == 0:
        return np.full(n, float(array))
    if array.shape != (n,):
        raise ValueError(f"{name} has shape {array.shape}, expected ({n},)")
    return array


def _codes(value: ArrayLike, n: int, name: str) -> IntArray:
    raw = np.asarray(value)
    if raw.dtype.kind == "f" and not np.array_equal(raw, np.floor(raw)):
        raise ValueError(f"{name} must hold whole numbers")
    array = raw.astype(np.int64)
    if array.ndim == 0:
        return np.full(n, int(array), dtype=np.int64)
    if array.shape != (n,):
        raise ValueError(f"{name} has shape {array.shape}, expected ({n},)")
    return array


def _matrix(value: ArrayLike | None, n: int) -> FloatArray:
    if value is None:
        return np.empty((n, 0))
    array = np.asarray(value, dtype=float)
    if array.ndim == 1:
        array = array[:, None]
    if array.ndim != 2 or array.shape[0] != n:
        raise ValueError(f"covariates have shape {array.shape}, expected ({n}, p)")
    return array


def _refuse(bad: NDArray[np.bool_], text: Any) -> None:
    if bad.any():
        row = int(np.argmax(bad))
        raise ValueError(f"row {row}: {text(row)}")
