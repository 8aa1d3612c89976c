"""The collector rests while many rows are read, and passes by what a server has loaded for good."""

import gc

from fleet.at_rest import collector_at_rest, set_aside_what_stays


def test_the_collector_rests_and_wakes_as_it_was():
    assert gc.isenabled()
    with collector_at_rest():
        assert not gc.isenabled()
        with collector_at_rest():
            pass
        assert not gc.isenabled()
    assert gc.isenabled()


def test_what_is_loaded_is_no_longer_looked_through():
    kept = [object()]
    try:
        set_aside_what_stays()
        assert gc.get_freeze_count() > 1000
        assert not any(known is kept for known in gc.get_objects())
    finally:
        gc.unfreeze()
    assert any(known is kept for known in gc.get_objects())
