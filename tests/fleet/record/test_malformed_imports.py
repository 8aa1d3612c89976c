"""Damaged fleets by the hundred: none raises, none lands half, every spoiled row is named.

Ten thousand of them run with ``python -m tests.fleet.record.malformed --count 10000``.
"""

import pytest

from . import malformed_cells, malformed_files  # noqa: F401  loading them registers the kinds of damage
from .malformed import HARMFUL, HARMLESS
from .malformed_check import run_cases

# In two parts, so that two workers share them.
EACH = 250


@pytest.mark.slow
@pytest.mark.django_db
@pytest.mark.parametrize("part", [0, 1])
def test_damaged_fleets(part):
    outcome = run_cases(part * EACH, EACH)
    assert not outcome.failures, outcome.table()
    assert outcome.whole >= 0.3 * outcome.cases, outcome.table()
    missing = (HARMLESS.keys() | HARMFUL.keys()) - outcome.kinds.keys()
    assert not missing
