"""The hour rail: what must hold for every rail, and what each case must show."""

from __future__ import annotations

import re
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.charts.labels import text_width
from fleet.charts.rail import DateRail, Rail, Words, date_rail, hour_rail
from fleet.charts.rail_drawing import HEIGHT, TYPE_SIZE

NS = "{http://www.w3.org/2000/svg}"
hours = st.none() | st.floats(0, 20_000)
rails = st.builds(
    Rail,
    unit_label=st.text(max_size=30),
    last=hours,
    now=hours,
    now_low=hours,
    now_high=hours,
    due=hours,
    due_low=hours,
    due_high=hours,
    season_from=hours,
    season_to=hours,
    interval=st.none() | st.floats(0, 5_000),
    verb_done=st.text(max_size=24),
    start=hours,
    start_word=st.text(max_size=24),
)
days = st.dates(date(1990, 1, 1), date(2090, 1, 1))
maybe_day = st.none() | days
date_rails = st.builds(
    DateRail,
    unit_label=st.text(max_size=30),
    today=days,
    last=maybe_day,
    due=maybe_day,
    due_low=maybe_day,
    due_high=maybe_day,
    seasons=st.lists(st.tuples(days, days), max_size=3).map(tuple),
    interval_days=st.none() | st.floats(1, 4_000),
    verb_done=st.text(max_size=24),
    start=maybe_day,
)


def parse(svg: str) -> ET.Element:
    return ET.fromstring(svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def box(svg: str) -> tuple[float, float]:
    _, _, width, height = map(float, parse(svg).attrib["viewBox"].split())
    return width, height


def places(svg: str) -> list[tuple[float, float]]:
    """Every point that is drawn, patterns aside (they have a space of their own)."""
    root = parse(svg)
    inside_patterns = {id(part) for pattern in root.iter(f"{NS}pattern") for part in pattern.iter()}
    points = []
    for part in root.iter():
        if id(part) in inside_patterns:
            continue
        get = {key: float(value) for key, value in part.attrib.items() if key in {"x", "y", "x1", "x2", "y1", "y2"}}
        if part.tag == f"{NS}line":
            points += [(get["x1"], get["y1"]), (get["x2"], get["y2"])]
        elif part.tag == f"{NS}rect":
            points.append((get["x"], get["y"]))
            points.append((get["x"] + float(part.attrib["width"]), get["y"] + float(part.attrib["height"])))
        elif part.tag == f"{NS}circle":
            points.append((float(part.attrib["cx"]), float(part.attrib["cy"])))
        elif part.tag == f"{NS}path":
            x, y = re.match(r"M([\d.]+) ([\d.]+)", part.attrib["d"]).groups()
            points.append((float(x), float(y)))
        elif part.tag == f"{NS}text":
            points.append((get["x"], get["y"]))
    return points


def words_with_room(svg: str) -> list[tuple[float, float, float]]:
    """For each text its line and the room it takes."""
    rooms = []
    for part in parse(svg).iter(f"{NS}text"):
        width = text_width(part.text or "", TYPE_SIZE)
        x = float(part.attrib["x"])
        left = x - width / 2 if part.attrib["text-anchor"] == "middle" else x
        rooms.append((float(part.attrib["y"]), left, left + width))
    return rooms


def one(svg: str, css: str) -> ET.Element:
    found = [part for part in parse(svg).iter() if part.attrib.get("class") == css]
    assert len(found) == 1, (css, len(found))
    return found[0]


def has(svg: str, css: str) -> bool:
    return any(part.attrib.get("class") == css for part in parse(svg).iter())


def said(svg: str) -> list[str]:
    return [part.text or "" for part in parse(svg).iter(f"{NS}text")]


def wedge_x(svg: str) -> float:
    return float(one(svg, "now").attrib["d"][1:].split()[0])


def title(svg: str) -> str:
    return parse(svg).findtext(f"{NS}title") or ""


def check_drawing(svg: str, uid: str) -> None:
    root = parse(svg)
    width, height = box(svg)
    for x, y in places(svg):
        assert 0 <= x <= width
        assert 0 <= y <= height
    rooms = words_with_room(svg)
    for number, (line, left, right) in enumerate(rooms):
        assert left >= 0
        assert right <= width
        for other_line, other_left, other_right in rooms[number + 1 :]:
            assert line != other_line or right <= other_left or other_right <= left
    assert title(svg)
    ids = [part.attrib["id"] for part in root.iter() if "id" in part.attrib]
    assert all(name.startswith(f"{uid}-") for name in ids)
    assert len(ids) == len(set(ids))
    assert set(root.attrib["aria-labelledby"].split()) <= set(ids)
    assert "style=" not in svg
    assert "<script" not in svg


@settings(max_examples=400, deadline=None)
@given(rail=rails, width=st.integers(220, 900), name_season=st.booleans())
def test_every_hour_rail_is_whole(rail, width, name_season):
    check_drawing(hour_rail(rail, uid="r1", width=width, name_season=name_season), "r1")


@settings(max_examples=200, deadline=None)
@given(rail=date_rails, name_season=st.booleans())
def test_every_date_rail_is_whole(rail, name_season):
    check_drawing(date_rail(rail, uid="d1", name_season=name_season), "d1")


@settings(max_examples=200, deadline=None)
@given(base=st.floats(0, 5_000), interval=st.floats(5, 500), used=st.floats(0, 20), more=st.floats(0, 5))
def test_more_hours_never_move_the_wedge_back(base, interval, used, more):
    def drawn(cycles):
        rail = Rail("u", last=base, now=base + cycles * interval, due=base + interval, interval=interval)
        return wedge_x(hour_rail(rail, uid="r"))

    far = max(used, used + more)
    if used <= 1.25 or far <= 1.5:  # beyond the break a wedge keeps its place, whatever the hours
        assert drawn(used) <= drawn(far) + 0.1


def usual(**changes) -> Rail:
    values = {
        "unit_label": "QH-17, gearbox grease",
        "last": 212,
        "now": 240,
        "now_low": 236,
        "now_high": 245,
        "due": 255,
        "due_low": 251,
        "due_high": 258,
        "interval": 43,
        "verb_done": "greased",
    }
    return Rail(**(values | changes))


def test_marks_stand_in_their_order_and_say_what_they_are():
    svg = hour_rail(usual(), uid="a")
    ring, due = float(one(svg, "last").attrib["cx"]), float(one(svg, "due").attrib["x1"])
    assert ring < wedge_x(svg) < due
    assert said(svg) == ["now 240", "due 255", "greased 212"]
    assert title(svg) == "QH-17, gearbox grease: greased at 212 hours, now about 240 hours, due at 255 hours"
    assert "Now between 236 and 245 hours. Due between 251 and 258." in svg
    assert not has(svg, "over")


def test_the_interval_is_equally_long_on_every_rail():
    short = hour_rail(usual(), uid="a")
    long = hour_rail(Rail("u", last=1000, now=1010, due=1300, interval=300), uid="b")
    for css, key in (("last", "cx"), ("due", "x1")):
        assert one(short, css).attrib[key] == one(long, css).attrib[key]


def test_bands_are_as_wide_as_the_doubt():
    narrow = one(hour_rail(usual(), uid="a"), "now-band").attrib
    wide = one(hour_rail(usual(now_low=230, now_high=254), uid="a"), "now-band").attrib
    assert float(wide["x2"]) - float(wide["x1"]) > float(narrow["x2"]) - float(narrow["x1"])
    certain = hour_rail(usual(now_low=None, now_high=None, due_low=None, due_high=None), uid="a")
    assert not has(certain, "now-band")
    assert not has(certain, "due-band")


def test_hatching_is_the_rails_own():
    first, second = hour_rail(usual(), uid="a"), hour_rail(usual(), uid="b")
    assert 'fill="url(#a-h)"' in first
    assert 'id="a-h"' in first
    assert "a-h" not in second


def test_past_due_shows_how_far():
    svg = hour_rail(usual(now=264), uid="a")
    over = one(svg, "over").attrib
    assert float(over["x1"]) == float(one(svg, "due").attrib["x1"])
    assert float(over["x2"]) == wedge_x(svg)
    assert "Past due by 9 hours." in svg


def test_far_past_due_breaks_the_line_and_keeps_the_due_mark_in_place():
    svg = hour_rail(usual(now=2000, now_low=None, now_high=None), uid="a")
    assert has(svg, "gap-edge")
    assert one(svg, "due").attrib["x1"] == one(hour_rail(usual(), uid="a"), "due").attrib["x1"]
    assert wedge_x(svg) > float(one(svg, "gap-edge").attrib["d"][1:].split()[0])
    assert "now 2,000" in said(svg)


def test_due_beyond_the_edge_stands_behind_a_break():
    svg = hour_rail(usual(due=400, due_low=None, due_high=None), uid="a")
    assert has(svg, "gap-edge")
    assert float(one(svg, "due").attrib["x1"]) > wedge_x(svg)
    assert "due 400" in said(svg)


def test_never_done_is_a_square_and_not_a_ring():
    new = hour_rail(usual(last=None, start=0, now=20, due=43, due_low=None, due_high=None), uid="a")
    assert one(new, "last").tag == f"{NS}rect"
    assert "new 0" in said(new)
    registered = hour_rail(usual(last=None, start=1140, start_word="registered", now=1150, due=1183), uid="a")
    assert "registered 1,140" in said(registered)


def test_last_time_unknown_has_no_ring_and_says_so():
    svg = hour_rail(usual(last=None), uid="a")
    assert not has(svg, "last")
    assert one(svg, "used").attrib["stroke-dasharray"]
    assert "last time not known" in title(svg)


def test_hours_unknown_is_dashed_and_has_no_wedge():
    svg = hour_rail(usual(now=None), uid="a")
    assert not has(svg, "now")
    assert not has(svg, "used")
    assert one(svg, "axis").attrib["stroke-dasharray"]
    assert "hours not known" in said(svg)
    assert "hours not known" in title(svg)


@pytest.mark.parametrize("bad", [float("inf"), float("nan")])
def test_a_bound_without_end_counts_as_not_known(bad):
    assert not has(hour_rail(usual(due_low=None, due_high=bad), uid="a"), "due-band")


def test_season_lies_under_the_line_and_open_sides_reach_the_end():
    svg = hour_rail(usual(season_from=246), uid="a")
    ground = one(svg, "season").attrib
    assert float(ground["x"]) > wedge_x(svg)
    assert float(ground["x"]) + float(ground["width"]) == pytest.approx(box(svg)[0] - 6)
    assert svg.index('class="season"') < svg.index('class="axis"')
    assert "season" not in said(svg)
    assert "season" in said(hour_rail(usual(season_from=246), uid="a", name_season=True))


def test_months_only_task_goes_by_the_calendar():
    rail = DateRail(
        unit_label="QH-44, lay-up",
        today=date(2027, 3, 8),
        last=date(2026, 12, 2),
        due=date(2027, 11, 30),
        interval_days=363,
        verb_done="laid up",
        seasons=((date(2027, 3, 15), date(2027, 11, 30)),),
    )
    svg = date_rail(rail, uid="d")
    assert said(svg) == ["today", "due Nov 30", "laid up Dec 2, 2026"]
    assert title(svg) == "QH-44, lay-up: laid up on Dec 2, 2026, today is Mar 8, due on Nov 30"
    late = date_rail(DateRail("u", today=rail.today, last=rail.last, due=rail.today - timedelta(days=40)), uid="d")
    assert "Past due by 40 days." in late


def test_words_are_the_callers():
    spanish = Words(now="ahora {value}", due="vence {value}", number=lambda value: f"{value:.0f} h")
    svg = hour_rail(usual(verb_done="engrasada"), uid="a", words=spanish)
    assert said(svg) == ["ahora 240 h", "vence 255 h", "engrasada 212 h"]


def test_what_a_person_typed_cannot_break_out():
    svg = hour_rail(usual(unit_label='<script>"&', verb_done="</text><b>\x00"), uid="a")
    assert title(svg).startswith('<script>"&:')
    assert "<script" not in svg
    assert "<b>" not in svg


@pytest.mark.parametrize("uid", ["", "1a", 'a"b', "a b", "a)"])
def test_an_id_that_could_break_out_is_refused(uid):
    with pytest.raises(ValueError, match="id"):
        hour_rail(usual(), uid=uid)


def test_templates_do_not_escape_it_again():
    svg = hour_rail(usual(), uid="a")
    assert svg.__html__() is svg


def test_type_stays_legible_on_the_smallest_screen():
    # 320 px less the page's and the card's padding leaves 262 px. The floor of 11 px is our own choice.
    width, height = box(hour_rail(usual(), uid="a"))
    assert height == HEIGHT
    assert TYPE_SIZE * 262 / width >= 11
