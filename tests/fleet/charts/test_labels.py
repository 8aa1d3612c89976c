"""Room for words: widths against the typeface itself, and labels that keep clear of each other."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont
from hypothesis import given
from hypothesis import strategies as st

from fleet.charts.labels import Label, place, text_width

FONT = Path(__file__).parents[3] / "fleet/static/fleet/fonts/atkinson-hyperlegible-next-latin.woff2"


@pytest.fixture(scope="module")
def advances() -> dict[str, float]:
    """Advance width of each letter in the bold cut, in type sizes: read from the font by fontTools."""
    font = instantiateVariableFont(TTFont(FONT), {"wght": 700})
    per_em = font["head"].unitsPerEm
    return {chr(code): font["hmtx"][name][0] / per_em for code, name in font.getBestCmap().items()}


def test_no_letter_of_a_label_is_wider_than_estimated(advances):
    letters = [chr(code) for code in [*range(0x20, 0x7F), *map(ord, "áéíóúñüçàèâêôö–’")]]
    too_wide = [letter for letter in letters if advances[letter] > text_width(letter, 1)]
    assert too_wide == []


def test_estimate_is_not_wasteful(advances):
    for words in ("greased 1,212", "now 264", "due 255", "registered 140", "engrasada 212"):
        true = sum(advances[letter] for letter in words)
        assert true <= text_width(words, 1) <= 1.35 * true


def test_the_important_label_keeps_its_place_and_the_other_moves():
    first, second = place([Label("d", 150, ("due 255",)), Label("l", 120, ("greased 212",))], 0, 300, 13)
    assert (first.left + first.right) / 2 == pytest.approx(150)
    assert second.right < first.left or second.left > first.right


def test_a_label_without_room_is_shortened_before_it_is_left_out():
    crowded = [Label("d", 50, ("due 255",)), Label("l", 5, ("greased 212", "9"), reach=5)]
    assert [item.words for item in place(crowded, 0, 90, 13)] == ["due 255", "9"]
    assert [item.words for item in place(crowded, 16, 90, 13)] == ["due 255"]


@given(
    labels=st.lists(
        st.builds(Label, css=st.just("l"), x=st.floats(-50, 400), forms=st.lists(st.text(max_size=12)).map(tuple)),
        max_size=5,
    )
)
def test_labels_never_touch(labels):
    done = sorted(place(labels, 0, 300, 13), key=lambda item: (item.left, item.right))
    assert all(item.left >= 0 and item.right <= 300 for item in done)
    assert all(one.right <= other.left for one, other in pairwise(done))
