"""Fleets shared by the simulator's tests; they are only read."""

import datetime as dt

import pytest

from fleet.simulation.fleet import SimulatedFleet, simulate
from fleet.simulation.scenario import demo_parameters

TODAY = dt.date(2026, 11, 25)


@pytest.fixture(scope="session")
def demo() -> SimulatedFleet:
    return simulate(demo_parameters(TODAY), seed=1)


@pytest.fixture(scope="session")
def many_units() -> SimulatedFleet:
    """The demo's habits over enough units that shares and rates can be told from luck."""
    return simulate(demo_parameters(TODAY).with_units(900), seed=5)
