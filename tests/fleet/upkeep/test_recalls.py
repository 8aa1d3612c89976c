"""Which serials a notice names."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.models import RecallNotice
from fleet.models.tenancy import all_tenants
from fleet.upkeep.recalls import (
    CANNOT_TELL,
    LISTED,
    NOT_LISTED,
    BadSerials,
    parse_serials,
    standing_runs,
    units_under_notices,
    verdict,
    verdicts_for,
)
from tests import factories


@pytest.mark.parametrize(
    ("serials", "serial", "said"),
    [
        ("OH2410000 - OH2434999", "OH2410000", LISTED),
        ("OH2410000 - OH2434999", "OH2434999", LISTED),
        ("OH2410000 - OH2434999", "oh 24-20000", LISTED),
        ("OH2410000 - OH2434999", "OH2435000", NOT_LISTED),
        ("OH2410000 - OH2434999", "OW2420000", NOT_LISTED),
        ("OH2410000 - OH2434999", "OH2420000X", NOT_LISTED),
        ("T-100 - T-199", "T-150", LISTED),
        ("T-100 – T-199", "T150", LISTED),
        ("T-100 to T-199", "T150", LISTED),
        ("24A0001 - 24A0500", "24A0500", LISTED),
        ("24A0001 - 24A0500", "25A0100", NOT_LISTED),
        ("9 - 11", "10", LISTED),
        ("AB-77\nAB-79", "ab79", LISTED),
        ("AB-77\nAB-79", "AB78", NOT_LISTED),
        ("AB-77", "", CANNOT_TELL),
        ("AB-77", " - ", CANNOT_TELL),
        ("", "", LISTED),
        ("\n \n", "anything", LISTED),
    ],
)
def test_verdict(serials, serial, said):
    assert verdict(parse_serials(serials), serial) == said


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("OH1 - OW9", 1),
        ("OH9 - OH1", 1),
        ("OH1\n\nA - B", 3),
        ("OH1 - OH2 - OH3", 1),
        ("OH1 - ", 1),
        (" - OH1", 1),
        ("OH1 to", 1),
        ("---", 1),
        ("OH1\nOH2, OH3", 2),
        (";;;", 1),
        ("OH1000-OH1999", 1),
        ("1000-1999", 1),
    ],
)
def test_lines_that_name_nothing_are_refused_with_their_number(text, line):
    with pytest.raises(BadSerials) as refused:
        parse_serials(text)
    assert refused.value.line == line
    assert str(line) in refused.value.message


def test_one_unreadable_line_of_a_standing_notice_leaves_its_runs_standing():
    notice = RecallNotice(serials="OH1 - OH9\nOH20-OH29\nA - B")
    assert verdict(standing_runs(notice), "OH5") == LISTED
    assert verdict(standing_runs(notice), "OH20-OH29") == LISTED
    assert verdict(standing_runs(notice), "OH25") == NOT_LISTED


@given(st.integers(0, 10**9), st.integers(0, 10**6), st.integers(0, 10**6))
def test_a_run_holds_exactly_the_numbers_between_its_ends(first, length, step):
    runs = parse_serials(f"QX{first} - QX{first + length}")
    assert (verdict(runs, f"QX{first + step}") == LISTED) == (step <= length)


@given(st.text(max_size=60), st.text(max_size=30))
def test_no_text_breaks_it(text, serial):
    try:
        runs = parse_serials(text)
    except BadSerials:
        return
    assert verdict(runs, serial) in {LISTED, NOT_LISTED, CANNOT_TELL}


@pytest.mark.django_db
def test_units_in_sight_that_a_notice_names():
    crew = factories.make_crew(factories.make_contractor())
    other = factories.make_crew(factories.make_contractor("Millrace Estates"))
    model = factories.make_model()
    named = factories.make_unit(crew, serial="OH2410001", model=model, run=None)
    factories.make_unit(crew, serial="OH2510001", model=model, run=None)
    blank = factories.make_unit(crew, model=model, run=None)
    factories.make_unit(other, serial="OH2410002", model=model, run=None)
    notice = factories.make_notice(model, "OH2410000 - OH2434999")
    with all_tenants():
        (line,) = units_under_notices([crew.contractor_id])
        assert [u.pk for u in line.listed] == [named.pk]
        assert [u.pk for u in line.cannot_tell] == [blank.pk]
        found = verdicts_for([(named.pk, model.pk), (blank.pk, model.pk)], factories.days_ago(0))
        assert found == {named.pk: [(notice, LISTED)], blank.pk: [(notice, CANNOT_TELL)]}
        notice.ended_on = factories.days_ago(1)
        notice.save()
        assert units_under_notices([crew.contractor_id]) == []
        assert units_under_notices([crew.contractor_id], ended=True)[0].listed == (named,)
        assert verdicts_for([(named.pk, model.pk)], factories.days_ago(0)) == {}
