"""Plain big fleets: row counts as measured at, nothing backwards, chunk by chunk the same."""

import datetime as dt

import numpy as np
import pytest

from fleet.simulation.bulk import BulkSetting, RowCounts, bulk_fleet, chunk_files
from tests.fleet.simulation.paper import complaints

TODAY = dt.date(2026, 11, 25)


def test_row_counts_per_unit():
    setting = BulkSetting(2000, TODAY)
    chunks = list(bulk_fleet(setting, chunk=700))
    assert [len(chunk.units["unit"]) for chunk in chunks] == [700, 700, 600]
    total = {name: sum(len(getattr(chunk, name)["unit"]) for chunk in chunks)
             for name in ("hours", "guard", "services", "failures")}  # fmt: skip
    assert total["hours"] == 60 * 2000
    assert total["guard"] == 30 * 2000
    assert total["services"] == 15 * 2000
    assert total["failures"] == pytest.approx(2 * 2000, rel=0.1)
    assert np.concatenate([chunk.units["unit"] for chunk in chunks]).tolist() == list(range(2000))


def test_same_setting_same_rows():
    one, two = (next(bulk_fleet(BulkSetting(300, TODAY, seed=4))) for _ in range(2))
    for name in ("units", "hours", "guard", "services", "failures"):
        for column, values in getattr(one, name).items():
            np.testing.assert_array_equal(values, getattr(two, name)[column])


def test_one_row_of_a_kind_per_unit_and_day():
    chunk = next(bulk_fleet(BulkSetting(400, TODAY)))
    for table in (chunk.hours, chunk.guard, chunk.services):
        keys = set(zip(table["unit"].tolist(), table["date"].tolist(), strict=True))
        assert len(keys) == len(table["unit"])
        later = np.diff(table["date"].astype(int))[np.diff(table["unit"]) == 0]
        assert (later > 0).all()


def test_a_tenth_of_the_rows():
    chunk = next(bulk_fleet(BulkSetting(500, TODAY, counts=RowCounts().tenth())))
    assert len(chunk.hours["unit"]) == 6 * 500


@pytest.mark.parametrize("today", [TODAY, dt.date(2027, 2, 10), dt.date(2027, 6, 2)])
def test_as_import_files_a_strict_reader_has_nothing_to_say(today):
    setting = BulkSetting(130, today, seed=8)
    for chunk in bulk_fleet(setting):
        files = chunk_files(setting, chunk)
        assert complaints(files, today) == []
        assert len(files["contractors"]) == setting.contractors == 2
