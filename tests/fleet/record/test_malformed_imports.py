"""Damaged fleets by the hundred (by the ten thousand with ``FAULTS=full``): none raises, none lands half."""

import os

import pytest

from . import malformed_cells, malformed_files  # noqa: F401  loading them registers the kinds of damage
from .malformed import HARMFUL, HARMLESS
from .malformed_check import run_cases

FULL = os.environ.get("FAULTS") == "full"
# In parts, so that several workers share them.
PARTS = 10 if FULL else 2
EACH = 1000 if FULL else 250


@pytest.mark.faults
@pytest.mark.slow
@pytest.mark.django_db
@pytest.mark.parametrize("part", range(PARTS))
def test_damaged_fleets(part):
    outcome = run_cases(part * EACH, EACH)
    assert not outcome.failures, outcome.table()
    assert outcome.whole >= 0.3 * outcome.cases, outcome.table()
    missing = (HARMLESS.keys() | HARMFUL.keys()) - outcome.kinds.keys()
    assert not missing
