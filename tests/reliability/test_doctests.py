"""Every example in the statistics' docstrings runs."""

import doctest
import importlib
import pkgutil

import pytest

import fleet.reliability

MODULES = [f"fleet.reliability.{module.name}" for module in pkgutil.iter_modules(fleet.reliability.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("name", fleet.reliability.__all__)
def test_public_functions_have_an_example(name):
    thing = getattr(fleet.reliability, name)
    if not isinstance(thing, type):
        assert ">>>" in thing.__doc__
        for heading in ("Parameters", "Returns"):
            assert heading in thing.__doc__
