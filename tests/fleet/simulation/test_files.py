"""Files on disk: the contract's columns, plain text that reads back."""

import csv

from fleet.simulation.columns import COLUMNS
from fleet.simulation.files import write_files


def test_written_files_read_back(demo, tmp_path):
    paths = write_files(demo.files, tmp_path / "fleet")
    assert {path.stem for path in paths} == set(COLUMNS)
    for path in paths:
        with path.open(newline="", encoding="utf-8") as lines:
            rows = list(csv.DictReader(lines))
        assert tuple(rows[0]) == COLUMNS[path.stem]
        expected = [{k: "" if v is None else str(v) for k, v in row.items()} for row in demo.files[path.stem]]
        assert rows == expected


def test_an_empty_table_is_no_file(demo, tmp_path):
    paths = write_files({"units": demo.files["units"], "moves": []}, tmp_path)
    assert [path.name for path in paths] == ["units.csv"]
