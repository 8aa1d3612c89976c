"""CSV downloads run nothing a person typed. The characters are those OWASP lists under CSV injection."""

import csv
import io

import pytest

from fleet.record.cells import text_cell
from fleet.spreadsheets import csv_download, safe_cell


@pytest.mark.parametrize("typed", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1"])
def test_text_that_begins_like_a_formula_is_made_text(typed):
    assert safe_cell(typed) == f"'{typed}"


@pytest.mark.parametrize(
    ("value", "cell"), [(None, ""), (-3.5, "-3.5"), (0, "0"), ("QH-01", "QH-01"), (["a.", "b."], "a. b.")]
)
def test_everything_else_stays(value, cell):
    assert safe_cell(value) == cell


def test_import_takes_the_apostrophe_off_again():
    assert text_cell(80)(False)(safe_cell("=QH")) == "=QH"


def test_download_is_read_back_whole():
    response = csv_download("x.csv", ("a", "b"), [{"a": 'say "so", they', "b": None}, {"a": "line\nbreak", "b": 2}])
    rows = list(csv.reader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert rows == [["a", "b"], ['say "so", they', ""], ["line\nbreak", "2"]]
