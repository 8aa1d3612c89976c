"""Goals of the studies: a figure stands beside what it should be."""

from __future__ import annotations


def held(value: float, low: float, high: float, digits: int = 3) -> str:
    """A figure with whether it lies from ``low`` to ``high``.

    Examples
    --------
    >>> held(0.947, 0.93, 0.97), held(0.05, 0.0, 0.03)
    ('0.947 (0.93 to 0.97: met)', '0.050 (0 to 0.03: NOT MET)')
    """
    return f"{value:.{digits}f} ({low:g} to {high:g}: {'met' if low <= value <= high else 'NOT MET'})"


def at_most(value: float, most: float, digits: int = 4) -> str:
    """A figure with whether it is at most ``most``.

    Examples
    --------
    >>> at_most(0.0123, 0.03)
    '0.0123 (at most 0.03: met)'
    """
    return f"{value:.{digits}f} (at most {most:.4g}: {'met' if value <= most else 'NOT MET'})"


def at_least(value: float, least: float, digits: int = 3) -> str:
    """A figure with whether it is at least ``least``.

    Examples
    --------
    >>> at_least(0.95, 0.9)
    '0.950 (at least 0.9: met)'
    """
    return f"{value:.{digits}f} (at least {least:.4g}: {'met' if value >= least else 'NOT MET'})"
