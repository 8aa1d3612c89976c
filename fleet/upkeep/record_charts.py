"""From a component's record to its drawings, and to the same figures as a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, nan

from fleet.charts.curves import (
    CurveWords,
    Fitted,
    Steps,
    cost_curve,
    failure_curve,
    flat_span,
    outside_spans,
    repairs_curve,
)
from fleet.charts.svg import Svg
from fleet.upkeep.fit_records import KAPLAN_MEIER, Curve, FitLine
from fleet.upkeep.record_page import ComponentLine
from fleet.vocabulary import TASKS

#: The curve is drawn a little past the manual's interval.
_ROOM = 1.1
_TABLE_ROWS = 12
_NOTHING = (None, None, None)


@dataclass(frozen=True)
class TableRow:
    """Shares failed that the drawing shows at one hour of its axis; None where there is nothing."""

    hours: float
    seen: float | None
    seen_low: float | None
    seen_high: float | None
    fitted: float | None
    fitted_low: float | None
    fitted_high: float | None


def _numbers(values: Sequence[float | None]) -> tuple[float, ...]:
    return tuple(nan if v is None else float(v) for v in values)


def failed_steps(curve: Curve | None) -> Steps:
    """Share failed, from a curve of survival: its limits change sides."""
    if curve is None:
        return Steps((), (), (), ())
    value, low, high = (tuple(1.0 - v for v in _numbers(c)) for c in (curve.value, curve.low, curve.high))
    return Steps(_numbers(curve.hours), value, high, low)


def failed_fit(line: FitLine | None) -> Fitted | None:
    """Share failed as fitted."""
    if line is None or not line.hours:
        return None
    value, low, high = (tuple(1.0 - v for v in _numbers(c)) for c in (line.value, line.low, line.high))
    return Fitted(_numbers(line.hours), value, high, low)


def judged(line: ComponentLine) -> bool:
    """Whether a fit can be held against the limits of what was seen: those of looks alone are none of confidence."""
    return line.fit.curve is not None and line.fit.curve.kind == KAPLAN_MEIER


def spans_outside(line: ComponentLine) -> tuple[tuple[float, float], ...]:
    """Where the fit leaves the 95 % limits of what was seen."""
    fitted = failed_fit(line.fit.fit)
    return outside_spans(failed_steps(line.fit.curve), fitted) if fitted and judged(line) else ()


def end_of_axis(line: ComponentLine) -> float:
    """The last hour drawn: all that was seen, and the manual's interval."""
    seen = failed_steps(line.fit.curve).time
    fitted = line.fit.fit.hours if line.fit.fit else ()
    on_clock = (line.manual_hours or 0.0) * _ROOM if line.fit.clock == "task" else 0.0
    return max([1.0, *seen, *(h for h in fitted if h is not None), on_clock])


def curve_drawing(line: ComponentLine, what: str, uid: str, say: CurveWords) -> Svg | None:
    """Share failed by hours; None where there is nothing to draw."""
    seen, fitted = failed_steps(line.fit.curve), failed_fit(line.fit.fit)
    if not seen.time and fitted is None:
        return None
    on_task = line.fit.clock == "task" and line.fit.task is not None
    return failure_curve(
        what,
        seen=seen,
        fitted=fitted,
        end=end_of_axis(line),
        chosen=line.interval_hours if on_task else None,
        manual=line.manual_hours if on_task else None,
        since=str(TASKS[line.fit.task].label).lower() if on_task and line.fit.task else "",
        judged=judged(line),
        uid=uid,
        say=say,
    )


def cost_drawing(line: ComponentLine, what: str, uid: str, say: CurveWords) -> Svg | None:
    """Cost an hour by interval; None where the interval was not chosen by cost."""
    points = cost_points(line)
    if len(points) < 2 or line.interval is None or line.interval_hours is None or line.manual_hours is None:
        return None
    return cost_curve(
        what,
        intervals=[p[0] for p in points],
        cost=[p[1] for p in points],
        low=_numbers(line.interval.candidate_low),
        high=_numbers(line.interval.candidate_high),
        chosen=line.interval_hours,
        manual=line.manual_hours,
        uid=uid,
        say=say,
    )


def cost_points(line: ComponentLine) -> list[tuple[float, float]]:
    """Intervals compared and what each costs an hour."""
    if line.interval is None:
        return []
    pairs = zip(line.interval.candidates, line.interval.candidate_costs, strict=True)
    return sorted((t, c) for t, c in pairs if t is not None and c is not None)


def flat_part(line: ComponentLine) -> tuple[float, float] | None:
    """Intervals that cost nearly the same as the least."""
    points = cost_points(line)
    return flat_span([p[0] for p in points], [p[1] for p in points])


def repairs_steps(curve: Curve | None) -> Steps:
    """Mean repairs per unit with their limits; empty where there were none."""
    if curve is None:
        return Steps((), (), (), ())
    return Steps(_numbers(curve.hours), _numbers(curve.value), _numbers(curve.low), _numbers(curve.high))


def repairs_drawing(curve: Curve | None, what: str, uid: str, say: CurveWords) -> Svg | None:
    """Mean repairs per unit by engine hours; None where there were none."""
    if curve is None or not curve.hours:
        return None
    steps = repairs_steps(curve)
    return repairs_curve(what, seen=steps, end=steps.time[-1] * 1.05, uid=uid, say=say)


def table_rows(line: ComponentLine) -> list[TableRow]:
    """The drawing's figures at even hours."""
    seen, fitted = failed_steps(line.fit.curve), failed_fit(line.fit.fit)
    if not seen.time and fitted is None:
        return []
    end, rows = end_of_axis(line), []
    for number in range(1, _TABLE_ROWS + 1):
        hours = end * number / _TABLE_ROWS
        here = (*(seen.at(hours) or _NOTHING), *(fitted.at(hours) if fitted else _NOTHING))
        rows.append(TableRow(hours, *(None if v is None or isnan(v) else v for v in here)))
    return rows
