"""Curves of the model record: what must hold for every drawing, and what each case must show and say."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.charts.curves import (
    FLAT,
    CurveWords,
    Fitted,
    Steps,
    cost_curve,
    failure_curve,
    flat_span,
    outside_spans,
    repairs_curve,
)
from fleet.charts.labels import text_width
from fleet.charts.plot import HEIGHT, TYPE_SIZE, WIDTH, round_end
from fleet.reliability import Lifetimes, kaplan_meier

NS = "{http://www.w3.org/2000/svg}"


def parse(svg: str) -> ET.Element:
    return ET.fromstring(svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def points(part: ET.Element) -> list[tuple[float, float]]:
    """Corners of a path of M, L, H and V, in order."""
    found: list[tuple[float, float]] = []
    for command, numbers in re.findall(r"([MLHV])([^MLHVz]*)", part.attrib["d"]):
        values = [float(v) for v in numbers.split()]
        x, y = found[-1] if found else (0.0, 0.0)
        found.append((values[0], y) if command == "H" else (x, values[0]) if command == "V" else (values[0], values[1]))
    return found


def parts(svg: str, css: str, kind: str = "") -> list[ET.Element]:
    return [p for p in parse(svg).iter() if p.attrib.get("class") == css and p.tag.endswith(kind)]


def words(svg: str) -> list[str]:
    return [p.text or "" for p in parse(svg).iter(f"{NS}text")]


def description(svg: str) -> str:
    return parse(svg).findtext(f"{NS}desc") or ""


def check_drawing(svg: str, uid: str) -> None:
    root = parse(svg)
    for part in root.iter():
        corners = points(part) if part.tag == f"{NS}path" else []
        get = {k: float(v) for k, v in part.attrib.items() if k in {"x", "y", "x1", "x2", "y1", "y2"}}
        if part.tag == f"{NS}line" and part.attrib["class"] != "hatch":
            corners = [(get["x1"], get["y1"]), (get["x2"], get["y2"])]
        elif part.tag == f"{NS}rect":
            corners = [(get["x"], get["y"]), (get["x"] + float(part.attrib["width"]), get["y"])]
        for x, y in corners:
            assert 0 <= x <= WIDTH
            assert 0 <= y <= HEIGHT
    rooms = []
    for part in root.iter(f"{NS}text"):
        width, x = text_width(part.text or "", TYPE_SIZE), float(part.attrib["x"])
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[part.attrib["text-anchor"]]
        rooms.append((float(part.attrib["y"]), left, left + width))
    for number, (line, left, right) in enumerate(rooms):
        assert left >= 0
        assert right <= WIDTH
        for other_line, other_left, other_right in rooms[number + 1 :]:
            assert line != other_line or right <= other_left + 0.2 or other_right <= left + 0.2
    ids = [part.attrib["id"] for part in root.iter() if "id" in part.attrib]
    assert all(name.startswith(f"{uid}-") for name in ids)
    assert len(ids) == len(set(ids))
    assert set(root.attrib["aria-labelledby"].split()) <= set(ids)
    assert root.attrib["role"] == "img"
    assert root.findtext(f"{NS}title")
    numbers = " ".join(v for part in root.iter() for k, v in part.attrib.items() if k not in {"class", "id"})
    assert "nan" not in numbers
    assert "style=" not in svg


def seen_of(hours: list[float], share: list[float], spread: float = 0.1) -> Steps:
    low = tuple(max(0.0, s - spread) for s in share)
    return Steps(tuple(hours), tuple(share), low, tuple(min(1.0, s + spread) for s in share))


def weibull(shape: float, scale: float, end: float) -> Fitted:
    hours = np.linspace(0, end, 61)
    share = 1 - np.exp(-((hours / scale) ** shape))
    return Fitted(tuple(hours), tuple(share), tuple(0.8 * share), tuple(np.minimum(1, 1.2 * share)))


steps = st.lists(st.tuples(st.floats(0.1, 3_000), st.floats(0, 1)), max_size=25).map(
    lambda pairs: seen_of(sorted(t for t, _s in pairs), sorted(s for _t, s in pairs))
)
hours = st.none() | st.floats(1, 3_000)


@settings(max_examples=150, deadline=None)
@given(
    seen=steps,
    shape=st.floats(0.5, 5),
    scale=st.floats(5, 3_000),
    end=st.floats(1, 3_000),
    chosen=hours,
    manual=hours,
    fits=st.booleans(),
    what=st.text(max_size=30),
    since=st.sampled_from(["", "grease", "Arrestor screen clean", "Stop switch and trigger check"]),
)
def test_every_failure_curve_is_whole(seen, shape, scale, end, chosen, manual, fits, what, since):
    fitted = weibull(shape, scale, end) if fits else None
    svg = failure_curve(what, seen=seen, fitted=fitted, end=end, chosen=chosen, manual=manual, since=since, uid="f1")
    check_drawing(svg, "f1")


@settings(max_examples=100, deadline=None)
@given(
    manual=st.floats(2, 2_000),
    share=st.floats(0.1, 1),
    planned=st.floats(1, 100),
    failure=st.floats(0.0001, 5),
)
def test_every_cost_curve_is_whole(manual, share, planned, failure):
    intervals = [manual * (i + 1) / 20 for i in range(20)]
    cost = [planned / i + failure * i for i in intervals]
    svg = cost_curve("u", intervals=intervals, cost=cost, chosen=share * manual, manual=manual, uid="c")
    check_drawing(svg, "c")


@settings(max_examples=100, deadline=None)
@given(seen=steps, end=st.floats(3_000, 9_000))
def test_every_repairs_curve_is_whole(seen, end):
    check_drawing(repairs_curve("u", seen=seen, end=end, uid="r"), "r")


def test_limits_that_are_not_defined_leave_a_gap_not_a_word():
    seen = Steps((10.0, 20.0), (0.5, 1.0), (0.2, math.nan), (0.8, math.nan))
    svg = failure_curve("u", seen=seen, fitted=None, end=30, uid="a")
    check_drawing(svg, "a")
    assert "100 % failed by 20 hours, between – and –" in description(svg)
    assert "No curve is fitted" in description(svg)


def test_the_steps_are_those_of_the_product_limit_estimate():
    # Freireich et al. (1963), remission of 42 patients, the treated arm; values from memory of the printed table:
    # S(6) = 0.857, S(10) = 0.753, S(23) = 0.448.
    exact, censored = [6, 6, 6, 7, 10, 13, 16, 22, 23], [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    rows = Lifetimes(lower=exact + censored, upper=exact + [math.inf] * len(censored))
    curve = kaplan_meier(rows)
    seen = Steps(tuple(curve.time), tuple(1 - curve.value), tuple(1 - curve.high), tuple(1 - curve.low))
    svg = failure_curve("u", seen=seen, fitted=None, end=35, uid="a")
    (path,) = parts(svg, "seen")
    corners = points(path)
    bottom = corners[0][1]
    top = float(parts(svg, "grid")[-1].attrib["y1"])
    y_end = float(words(svg)[words(svg).index("0 %") + 4].split()[0]) / 100
    shares = {round((bottom - y) / (bottom - top) * y_end, 3) for _x, y in corners}
    for survival in (0.857, 0.753, 0.448):
        assert min(abs(share - (1 - survival)) for share in shares) < 0.004
    assert "Seen: 55 % failed by 23 hours" in description(svg)


def test_chosen_and_manual_stand_in_order_with_their_words():
    svg = failure_curve(
        "Rook gearbox", seen=seen_of([10, 20], [0.1, 0.3]), fitted=weibull(2, 40, 30), end=40, chosen=12, manual=30,
        since="grease", uid="a",
    )  # fmt: skip
    (chosen,), (manual,) = parts(svg, "chosen", "line"), parts(svg, "manual", "line")
    assert float(chosen.attrib["x1"]) < float(manual.attrib["x1"])
    assert {"every 12 h", "manual 30 h", "engine hours since grease", "share failed by then"} <= set(words(svg))
    assert "Interval: every 12 hours. The manual says 30 hours." in description(svg)
    # In gray the two differ by their dashes.
    assert "stroke-dasharray" not in chosen.attrib
    assert "stroke-dasharray" in manual.attrib


def test_an_interval_that_is_the_manuals_is_marked_once():
    svg = failure_curve("u", seen=seen_of([10], [0.1]), fitted=None, end=30, chosen=25, manual=25, uid="a")
    assert not parts(svg, "chosen", "line")
    assert len(parts(svg, "manual", "line")) == 1


def test_a_fit_within_the_limits_is_said_to_be():
    seen = seen_of([10, 20, 30], [0.1, 0.3, 0.5])
    hours = tuple(np.linspace(0, 30, 31))
    fitted = Fitted(hours, tuple(h / 60 for h in hours), hours, hours)
    assert outside_spans(seen, fitted) == ()
    svg = failure_curve("u", seen=seen, fitted=fitted, end=30, uid="a")
    assert "The fit stays within the limits." in description(svg)
    assert not parts(svg, "outside")


def test_a_bad_fit_is_hatched_and_said():
    seen = seen_of([10, 20, 30], [0.1, 0.15, 0.2], spread=0.05)
    hours = (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0)
    fitted = Fitted(hours, (0, 0.1, 0.12, 0.3, 0.18, 0.4, 0.5, 0.9), hours, hours)
    # 10 h: 0.12 in 0.05..0.15; 15 h: 0.3 above 0.175, half-way to the next; 20 h: 0.18 in 0.10..0.20; 25 and 30 h are
    # above; 40 h is past the last step.
    assert outside_spans(seen, fitted) == ((15.0, 15.0), (25.0, 30.0))
    svg = failure_curve("u", seen=seen, fitted=fitted, end=40, uid="a")
    assert len(parts(svg, "outside")) == 2
    assert "The fit leaves the limits between 25 and 30 hours." in description(svg)
    assert "stays within" not in description(svg)


def test_nothing_seen_holds_no_fit_against_anything():
    empty = Steps((), (), (), ())
    svg = failure_curve("u", seen=empty, fitted=weibull(2, 50, 40), end=40, uid="a")
    assert "limits" not in description(svg)
    assert not parts(svg, "outside")


def test_the_flat_bottom_is_where_cost_is_nearly_least():
    # Classic lot-size trade-off a/x + b x: within 2 % of the least for x/x* between about 0.82 and 1.22.
    intervals = [i / 4 for i in range(4, 161)]
    cost = [100 / i + i for i in intervals]  # least at 10
    low, high = flat_span(intervals, cost)
    assert low == pytest.approx(10 * (1 + FLAT - math.sqrt((1 + FLAT) ** 2 - 1)), abs=0.25)
    assert high == pytest.approx(10 * (1 + FLAT + math.sqrt((1 + FLAT) ** 2 - 1)), abs=0.25)
    svg = cost_curve("u", intervals=intervals, cost=cost, chosen=10, manual=40, uid="a")
    assert len(parts(svg, "flat")) == 1
    assert "Least at 10 hours: $20.00 an hour. At the manual's 40 hours: $42.50." in description(svg)


def test_words_may_be_another_languages():
    say = CurveWords(failed="hasta entonces", chosen="cada {value} h")
    svg = failure_curve("u", seen=seen_of([5], [0.2]), fitted=None, end=30, chosen=12, uid="a", say=say)
    assert {"hasta entonces", "cada 12 h"} <= set(words(svg))


@given(st.floats(1e-6, 1e6))
def test_round_ends_hold_their_value_closely(value):
    assert value * (1 - 1e-9) <= round_end(value) <= 1.5 * value * (1 + 1e-9) or round_end(value) / value <= 1.51


def test_a_round_end_for_nothing():
    assert round_end(0) == round_end(float("nan")) == 1.0
