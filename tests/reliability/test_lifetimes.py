"""Bad rows are refused by number; counts and defaults are as described."""

import numpy as np
import pytest

from fleet.reliability import Lifetimes

INF = float("inf")


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"lower": [5, 10], "entry": [0, 20]}, "row 1: entry 20 lies after lower 10"),
        ({"lower": [5, 10], "upper": [INF, 9]}, "row 1: upper 9 lies before lower 10"),
        ({"lower": [5, 0], "upper": [5, 0]}, "row 1: an event at 0 is not after entry 0"),
        ({"lower": [5, 7], "upper": [5, 7], "entry": [0, 7]}, "row 1: an event at 7 is not after entry 7"),
        ({"lower": [5, np.nan]}, "row 1: lower is not a number"),
        ({"lower": [5, 6], "upper": [5, np.nan]}, "row 1: upper is not a number"),
        ({"lower": [-5, 6]}, "row 0: lower -5 is negative"),
        ({"lower": [5, INF]}, "row 1: lower is not finite"),
        ({"lower": [5, 6], "since": [1, -1]}, "row 1: since -1 is negative"),
        ({"lower": [5, 6], "covariates": [0.0, np.nan]}, "row 1: a covariate is not finite"),
        ({"lower": [5, 6], "group": [0, -1]}, "row 1: group -1 is negative"),
        ({"lower": [5, 6], "group": [0, 3], "groups": 2}, "row 1: group beyond"),
        ({"lower": [5, 9], "entry": [0, 4], "spell": [1, 1]}, "row 1: overlaps"),
        ({"lower": [5, 9], "entry": [0, 5], "spell": [1, 1], "group": [0, 1]}, "row 1: a spell holds two groups"),
        ({"lower": [5, 9], "upper": [5, 9, 9]}, "upper has shape"),
        ({"lower": [5, 9], "covariates": np.zeros((3, 1))}, "covariates have shape"),
        ({"lower": [5, 9], "group": [0.5, 1]}, "whole numbers"),
    ],
)
def test_bad_input_names_the_first_bad_row(fields, message):
    with pytest.raises(ValueError, match=message):
        Lifetimes(**fields)


def test_defaults_are_one_group_without_event():
    rows = Lifetimes(lower=[5, 6])
    assert rows.group.tolist() == [0, 0]
    assert np.isinf(rows.upper).all()
    assert rows.entry.tolist() == [0, 0]
    assert rows.event_counts().tolist() == [0]


def test_events_of_a_spell_count_once_and_hours_add_up():
    rows = Lifetimes(
        entry=[0, 40, 0, 0],
        lower=[30, 40, 50, 20],
        upper=[40, 80, 50, INF],
        spell=[7, 7, 8, 9],
        group=[0, 0, 0, 1],
        groups=3,
    )
    assert rows.event_counts().tolist() == [2, 0, 0]
    assert rows.hours().tolist() == [35 + 20 + 50, 20, 0]


def test_no_django_is_imported_with_the_statistics():
    import subprocess
    import sys

    code = "import sys, fleet.reliability; sys.exit(any(name.split('.')[0] == 'django' for name in sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
