"""Contradicting hours: the fewest rows are blamed, and the later ones where it is a draw."""

import datetime as dt
from decimal import Decimal as D
from itertools import combinations, pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.record.readings import METER, REPLACED, TOTAL, OwnEntry, Reading, agree, clashes, told_too_many

START = dt.date(2025, 5, 1)


def day(number):
    return START + dt.timedelta(days=number)


def registration(hours=0, before=30):
    return Reading(day(-before), TOTAL, D(hours), fixed=True, first=True)


def blamed(*readings, start=None):
    return [c.reading.hours for c in clashes([start or registration(), *readings])]


def meter(number, hours, **options):
    return Reading(day(number), METER, D(str(hours)), **options)


def total(number, hours, **options):
    return Reading(day(number), TOTAL, D(str(hours)), **options)


def replaced(number, hours):
    return Reading(day(number), REPLACED, D(str(hours)))


def test_one_typo_does_not_condemn_good_rows():
    good = [meter(7 * week, 10 + 20 * week) for week in range(30)]
    assert blamed(*good[:10], meter(65, 9999), *good[10:]) == [9999]
    assert blamed(*good[:10], meter(65, 1), *good[10:]) == [1]


def test_of_two_the_later_is_to_blame():
    assert blamed(meter(0, 100), meter(7, 50)) == [50]
    assert blamed(meter(0, 100), meter(1, 200)) == [200]
    assert blamed(meter(0, 100), meter(7, 110), meter(14, 105), meter(21, 120)) == [105]
    assert blamed(meter(0, 100), meter(1, 130), meter(8, 140)) == [130]


def test_twenty_four_hours_a_day_and_not_more():
    assert blamed(meter(0, 100), meter(2, 148)) == []
    assert blamed(meter(0, 100), meter(2, 148.1)) == [D("148.1")]
    assert blamed(meter(0, 100), meter(0, 124)) == []
    assert blamed(meter(0, 100), meter(0, 125)) == [125]


def test_what_stands_is_never_blamed_and_is_tested_on_both_sides():
    ledger = (meter(0, 100, fixed=True), meter(10, 150, fixed=True))
    assert blamed(*ledger, meter(5, 120)) == []
    assert blamed(*ledger, meter(5, 160)) == [160]
    assert blamed(*ledger, meter(5, 90)) == [90]


def test_hours_before_those_at_registration():
    assert blamed(meter(0, 90), start=registration(100)) == [90]
    assert blamed(meter(0, 100), start=registration(100)) == []


def test_hours_of_services_and_meter_are_the_same_until_the_meter_is_replaced():
    assert blamed(meter(0, 100), total(5, 90)) == [90]
    assert blamed(meter(0, 100), total(5, 110), replaced(10, 0), meter(20, 15), total(21, 130)) == []


def test_a_new_meter_starts_anew_and_must_rise_by_itself():
    assert blamed(meter(0, 500), replaced(10, 0), meter(20, 15), meter(30, 5)) == [5]
    assert blamed(meter(0, 500), replaced(10, 3), meter(10, 501), meter(11, 9)) == []
    assert blamed(meter(0, 500), replaced(10, 3), meter(10, 4), meter(11, 9)) == []


@settings(deadline=None, max_examples=150)
@given(st.lists(st.tuples(st.integers(0, 8), st.integers(0, 200)), max_size=7))
def test_no_fewer_could_be_blamed(pairs):
    # Days apart, so that hours of one day need no slack: there the longest run is exact.
    readings = [meter(2 * number + place * 20, hours) for place, (number, hours) in enumerate(pairs)]
    ordered = sorted(readings, key=lambda r: (r.day, r.hours))
    found = {id(c.reading) for c in clashes(readings)}
    kept = [r for r in ordered if id(r) not in found]
    assert all(agree(a, b) for a, b in pairwise(kept))
    best = max(
        size
        for size in range(len(ordered) + 1)
        for chosen in combinations(ordered, size)
        if all(agree(a, b) for a, b in pairwise(chosen))
    )
    assert len(kept) == best


def run(number, hours, **options):
    return OwnEntry(day(number), D(hours) if hours is not None else None, **options)


def told(*entries):
    return [(e.run, days) for e, days in told_too_many(entries, day(-30))]


def test_hours_run_fit_into_the_days_since_the_last_entry_a_week_at_most():
    assert told(run(0, 168)) == []
    assert told(run(0, 169)) == [(169, 7)]
    assert told(run(0, None), run(2, 48)) == []
    assert told(run(0, None), run(2, 49)) == [(49, 2)]
    assert told(run(0, None), run(60, 169)) == [(169, 7)]


def test_hours_of_one_day_add_up():
    assert told(run(0, None), run(1, 20), run(1, 4)) == []
    assert told(run(0, None), run(1, 20), run(1, 5)) == [(5, 1)]


def test_an_entry_before_one_that_stands_must_leave_it_its_days():
    assert told(run(7, 100, fixed=True), run(6, 8)) == [(8, 1)]
    assert told(run(7, 24, fixed=True), run(6, 8)) == []
