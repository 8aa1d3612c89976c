"""Three curves of the model record: share failed by hours, cost by interval, repairs per unit.

What was seen stands as steps between dotted limits, what was fitted as a thick line in a pale band over it, so that a
bad fit shows; where the fit leaves the limits, the foot of the plot is hatched and the description says so.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite

from fleet.charts.plot import Band, Plot, Trace, Upright, draw, round_end
from fleet.charts.svg import Svg

#: Costs this close to the least count as the same: the flat bottom of the curve.
FLAT = 0.02
_ROOM = 1.15


@dataclass(frozen=True)
class CurveWords:
    """What the curves say. Every field is a sentence or a word a translator may change."""

    hours: str = "engine hours"
    hours_since: str = "engine hours since {task}"
    failed: str = "share failed by then"
    cost: str = "dollars an engine hour"
    interval: str = "interval, engine hours"
    repairs: str = "repairs per unit by then"
    chosen: str = "every {value} h"
    chosen_short: str = "{value} h"
    manual: str = "manual {value} h"
    manual_short: str = "manual {value}"
    title_failed: str = "{what}: share failed by engine hours"
    title_cost: str = "{what}: cost of each interval"
    title_repairs: str = "{what}: repairs per unit by engine hours"
    desc_seen: str = "Seen: {share} failed by {hours} hours, between {low} and {high}."
    desc_fit: str = "Fitted: {share} failed by {hours} hours, between {low} and {high}."
    desc_no_fit: str = "No curve is fitted: too few failures."
    desc_outside: str = "The fit leaves the limits between {low} and {high} hours."
    desc_inside: str = "The fit stays within the limits."
    desc_chosen: str = "Interval: every {value} hours."
    desc_manual: str = "The manual says {value} hours."
    desc_cost: str = "Least at {hours} hours: {cost} an hour. At the manual's {manual} hours: {manual_cost}."
    desc_flat: str = "Between {low} and {high} hours it costs nearly the same."
    both: str = "{first} and {second}"
    named: str = "{what}: {said}"
    desc_repairs: str = "By {hours} hours {value} repairs per unit, between {low} and {high}."
    number: Callable[[float], str] = lambda value: f"{value:,.0f}"
    small: Callable[[float], str] = lambda value: f"{value:,.2f}"
    percent: Callable[[float], str] = lambda share: f"{100 * share:,.0f} %"
    money: Callable[[float], str] = lambda value: f"${value:,.2f}"


PLAIN = CurveWords()


@dataclass(frozen=True)
class Steps:
    """A step curve as seen: values from each time on, with pointwise limits (NaN where there are none)."""

    time: tuple[float, ...]
    value: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]

    def at(self, hours: float) -> tuple[float, float, float] | None:
        """Value and limits at these hours; None before the first step."""
        step = bisect_right(self.time, hours) - 1
        return None if step < 0 else (self.value[step], self.low[step], self.high[step])

    def until(self, hours: float) -> Steps:
        """The steps up to these hours."""
        n = bisect_right(self.time, hours)
        return Steps(self.time[:n], self.value[:n], self.low[:n], self.high[:n])

    def limits_at(self, hours: float) -> tuple[float, float]:
        """Limits at these hours, straight between steps; NaN where they are not defined."""
        after = bisect_right(self.time, hours)
        if after in (0, len(self.time)):
            return self.low[max(after - 1, 0)], self.high[max(after - 1, 0)]
        share = (hours - self.time[after - 1]) / (self.time[after] - self.time[after - 1])

        def between(limit: tuple[float, ...]) -> float:
            return limit[after - 1] + share * (limit[after] - limit[after - 1])

        return between(self.low), between(self.high)


@dataclass(frozen=True)
class Fitted:
    """A smooth curve with its band, at the same hours throughout."""

    hours: tuple[float, ...]
    value: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]

    def at(self, hours: float) -> tuple[float | None, float | None, float | None]:
        """Value and band at these hours, straight between the points; Nones past the end."""
        after = bisect_left(self.hours, hours)
        if after == len(self.hours):
            return None, None, None
        before = max(after - 1, 0)
        width = self.hours[after] - self.hours[before]
        share = (hours - self.hours[before]) / width if width > 0 else 0.0
        value, low, high = (c[before] + share * (c[after] - c[before]) for c in (self.value, self.low, self.high))
        return value, low, high


def outside_spans(seen: Steps, fitted: Fitted) -> tuple[tuple[float, float], ...]:
    """Spans of hours in which the fitted curve lies outside the limits of what was seen.

    Between two steps the limits are taken as straight lines, since a smooth fit cannot follow the corners. Only from
    the first step to the last: before and after there is nothing to hold the fit against.
    """
    if not seen.time:
        return ()
    spans: list[tuple[float, float]] = []
    was_out = False
    for hours, value in zip(fitted.hours, fitted.value, strict=True):
        if not seen.time[0] <= hours <= seen.time[-1]:
            continue
        low, high = seen.limits_at(hours)
        out = value < low or value > high
        if out and was_out:
            spans[-1] = (spans[-1][0], hours)
        elif out:
            spans.append((hours, hours))
        was_out = out
    return tuple(spans)


def failure_curve(
    what: str,
    *,
    seen: Steps,
    fitted: Fitted | None,
    end: float,
    chosen: float | None = None,
    manual: float | None = None,
    since: str = "",
    judged: bool = True,
    uid: str,
    say: CurveWords = PLAIN,
) -> Svg:
    """Share failed by engine hours: steps with limits as seen, under the fitted curve with its band.

    ``since`` names the task that the hours are counted from; empty: the component's age. Limits that are none
    of confidence (of looks, say) cannot be held against a fit: then it is not ``judged``.
    """
    outside = outside_spans(seen, fitted) if fitted and judged else ()
    last = len(seen.time) - 1
    desc = []
    if last >= 0:
        desc.append(
            say.desc_seen.format(
                share=say.percent(seen.value[last]),
                hours=say.number(seen.time[last]),
                low=_or_dash(seen.low[last], say.percent),
                high=_or_dash(seen.high[last], say.percent),
            )
        )
    if fitted:
        i = len(fitted.hours) - 1
        desc.append(
            say.desc_fit.format(
                share=say.percent(fitted.value[i]),
                hours=say.number(fitted.hours[i]),
                low=say.percent(fitted.low[i]),
                high=say.percent(fitted.high[i]),
            )
        )
        spans = [say.desc_outside.format(low=say.number(a), high=say.number(b)) for a, b in outside]
        desc += spans or ([say.desc_inside] if last >= 0 and judged else [])
    else:
        desc.append(say.desc_no_fit)
    desc += _said_marks(chosen, manual, say)
    tops = [
        v for v in (*seen.value, *(fitted.value if fitted else ()), *(fitted.high if fitted else ())) if isfinite(v)
    ]
    x = (0.0, *seen.time, end) if last >= 0 else (0.0, end)

    def held(values: Sequence[float], start: float) -> tuple[float, ...]:
        return (start, *values, values[-1]) if last >= 0 else (start, start)

    traces = [
        Trace("limit", (*seen.time, end), (*seen.low, seen.low[-1]), steps=True) if last >= 0 else None,
        Trace("limit", (*seen.time, end), (*seen.high, seen.high[-1]), steps=True) if last >= 0 else None,
        Trace("fit", fitted.hours, fitted.value) if fitted else None,
        Trace("seen", x, held(seen.value, 0.0), steps=True),
    ]
    plot = Plot(
        title=say.title_failed.format(what=what),
        desc=" ".join(desc),
        x_name=(say.hours_since.format(task=since), say.hours) if since else (say.hours,),
        y_name=(say.failed,),
        x_end=end,
        y_end=min(1.0, round_end(max(tops, default=0.1) * _ROOM)),
        bands=(Band(fitted.hours, fitted.low, fitted.high),) if fitted else (),
        traces=tuple(t for t in traces if t is not None),
        uprights=_marks(chosen, manual, say),
        outside=outside,
    )
    return draw(plot, uid, say.number, say.percent)


def flat_span(intervals: Sequence[float], cost: Sequence[float]) -> tuple[float, float] | None:
    """Intervals around the least cost that cost nearly the same; None for nothing to compare."""
    if len(cost) < 2:
        return None
    best = min(range(len(cost)), key=lambda i: cost[i])
    limit = cost[best] * (1 + FLAT)
    low = high = best
    while low > 0 and cost[low - 1] <= limit:
        low -= 1
    while high < len(cost) - 1 and cost[high + 1] <= limit:
        high += 1
    return (intervals[low], intervals[high])


def cost_curve(
    what: str,
    *,
    intervals: Sequence[float],
    cost: Sequence[float],
    low: Sequence[float] = (),
    high: Sequence[float] = (),
    chosen: float,
    manual: float,
    uid: str,
    say: CurveWords = PLAIN,
) -> Svg:
    """What each interval up to the manual's costs an hour, services and failures together."""
    best = min(range(len(cost)), key=lambda i: cost[i])
    flat = flat_span(intervals, cost)
    desc = [
        say.desc_cost.format(
            hours=say.number(intervals[best]),
            cost=say.money(cost[best]),
            manual=say.number(manual),
            manual_cost=say.money(cost[-1]),
        )
    ]
    if flat and flat[0] < flat[1]:
        desc.append(say.desc_flat.format(low=say.number(flat[0]), high=say.number(flat[1])))
    desc += _said_marks(chosen, manual, say)
    # Very short intervals cost many times the least: the curve may leave the top rather than flatten the bottom.
    usual = sorted([*cost, *high])[int(0.8 * (len(cost) + len(high)))]
    xs = tuple(intervals)
    plot = Plot(
        title=say.title_cost.format(what=what),
        desc=" ".join(desc),
        x_name=(say.interval, say.hours),
        y_name=(say.cost,),
        x_end=round_end(max(intervals)),
        y_end=round_end(max(usual, 2 * cost[best])),
        bands=(Band(xs, tuple(low), tuple(high)),) if low and high else (),
        traces=(Trace("fit", xs, tuple(cost)),),
        uprights=_marks(chosen, manual, say),
        flat=flat if flat and flat[0] < flat[1] else None,
    )
    return draw(plot, uid, say.number, say.money)


def repairs_curve(what: str, *, seen: Steps, end: float, uid: str, say: CurveWords = PLAIN) -> Svg:
    """Mean repairs per unit by engine hours, with limits; no shape is assumed."""
    last = len(seen.time) - 1
    desc = _at_end(seen, say) if last >= 0 else ""
    tops = [v for v in (*seen.value, *seen.high[-1:]) if isfinite(v)]
    traces = []
    if last >= 0:
        traces = [
            Trace("limit", (*seen.time, end), (*seen.low, seen.low[-1]), steps=True),
            Trace("limit", (*seen.time, end), (*seen.high, seen.high[-1]), steps=True),
            _mean("seen", seen, end),
        ]
    plot = Plot(
        title=say.title_repairs.format(what=what),
        desc=desc,
        x_name=(say.hours,),
        y_name=(say.repairs,),
        x_end=end,
        y_end=round_end(max(tops, default=1.0)),
        traces=tuple(traces),
    )
    return draw(plot, uid, say.number, lambda v: say.small(v).rstrip("0").rstrip(".") or "0")


def two_repairs_curves(
    names: tuple[str, str], seen: tuple[Steps, Steps], *, end: float, uid: str, say: CurveWords = PLAIN
) -> Svg:
    """Repairs per unit of two models: the first in steps between dotted limits, the second thick on its pale band."""
    first, second = seen
    tops = [v for steps in seen for v in (*steps.value, *steps.high[-1:]) if isfinite(v)]
    x, low, high = _cornered(second, end)
    plot = Plot(
        title=say.title_repairs.format(what=say.both.format(first=names[0], second=names[1])),
        desc=" ".join(
            say.named.format(what=name, said=_at_end(steps, say)) for name, steps in zip(names, seen, strict=True)
        ),
        x_name=(say.hours,),
        y_name=(say.repairs,),
        x_end=end,
        y_end=round_end(max(tops, default=1.0)),
        bands=(Band(x, low, high),),
        traces=(
            _mean("fit", second, end),
            *(Trace("limit", (*first.time, end), (*side, side[-1]), steps=True) for side in (first.low, first.high)),
            _mean("seen", first, end),
        ),
    )
    return draw(plot, uid, say.number, lambda v: say.small(v).rstrip("0").rstrip(".") or "0")


def _mean(css: str, steps: Steps, end: float) -> Trace:
    return Trace(css, (0.0, *steps.time, end), (0.0, *steps.value, steps.value[-1]), steps=True)


def _cornered(steps: Steps, end: float) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Hours and limits with both ends of every step, so that a band has its corners."""
    time = (*steps.time, end)
    x = tuple(v for a, b in pairwise(time) for v in (a, b))
    return x, tuple(v for v in steps.low for _ in (0, 1)), tuple(v for v in steps.high for _ in (0, 1))


def _at_end(steps: Steps, say: CurveWords) -> str:
    return say.desc_repairs.format(
        hours=say.number(steps.time[-1]),
        value=say.small(steps.value[-1]),
        low=_or_dash(steps.low[-1], say.small),
        high=_or_dash(steps.high[-1], say.small),
    )


def _or_dash(value: float, words: Callable[[float], str]) -> str:
    return words(value) if isfinite(value) else "–"


def _marks(chosen: float | None, manual: float | None, say: CurveWords) -> tuple[Upright, ...]:
    marks = []
    if chosen is not None and (manual is None or chosen < manual):
        number = say.number(chosen)
        marks.append(
            Upright("chosen", chosen, (say.chosen.format(value=number), say.chosen_short.format(value=number)))
        )
    if manual is not None:
        number = say.number(manual)
        forms = (say.manual, say.manual_short, say.chosen_short)
        marks.append(Upright("manual", manual, tuple(form.format(value=number) for form in forms)))
    return tuple(marks)


def _said_marks(chosen: float | None, manual: float | None, say: CurveWords) -> list[str]:
    said = []
    if chosen is not None:
        said.append(say.desc_chosen.format(value=say.number(chosen)))
    if manual is not None:
        said.append(say.desc_manual.format(value=say.number(manual)))
    return said
