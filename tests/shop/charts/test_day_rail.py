"""The line of minutes: lengths to one scale, marks by shape, words for those who do not see it."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from shop.charts.day_rail import Block, day_rail

BLOCKS = [Block("carried", 20), Block("booked", 100), Block("offered", 50), Block("walk_in", 30)]


def drawn(**more):
    said = {"uid": "d1", "open_minutes": 400, "held": 100, "blocks": BLOCKS, "longest": 400, "title": "Mon: 200 of 400"}
    root = ElementTree.fromstring(day_rail(**{**said, **more}))
    return {e.get("class"): e for e in root.iter() if e.get("class")}, root


def test_blocks_follow_each_other_at_the_days_scale():
    found, root = drawn()
    at = {
        name: (float(found[name].get("x")), float(found[name].get("width")))
        for name in ("carried", "booked", "walk-in")
    }
    # 760 wide for 400 minutes: 1.9 a minute, each block 2 short of its room.
    assert at["carried"] == pytest.approx((0, 36))
    assert at["booked"] == pytest.approx((38, 188))
    assert at["walk-in"] == pytest.approx((323, 55))
    assert found["offered"].get("stroke-dasharray")
    assert root.find("{*}title").text == "Mon: 200 of 400" or root.find("title").text == "Mon: 200 of 400"


def test_what_walk_ins_have_used_is_no_longer_held():
    found, _root = drawn()
    assert float(found["held-band"].get("width")) == pytest.approx((100 - 30) * 1.9)
    assert "held-band" not in drawn(held=20)[0]


def test_a_short_day_is_short_and_a_day_over_its_minutes_shows_where_it_ends():
    assert float(drawn(open_minutes=200, blocks=[])[0]["room"].get("width")) == pytest.approx(380)
    found, _root = drawn(open_minutes=100)
    assert float(found["over-end"].get("x1")) == pytest.approx(190)


def test_words_are_escaped_and_ids_checked():
    assert "&lt;b&gt;" in day_rail(uid="d", open_minutes=1, held=0, blocks=[], longest=1, title="<b>")
    with pytest.raises(ValueError, match="id"):
        drawn(uid='d"x')
    assert not re.search(r"style=", drawn()[1].tag)
