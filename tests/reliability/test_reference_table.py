"""The reference table covers every published case, all within tolerance."""

from tests.reliability import published
from tests.reliability.reference_table import lines, main


def test_every_case_is_in_the_table_and_within_tolerance(capsys):
    table = lines()
    assert {line.case for line in table} == {path.name[:3] for path in published.DATA.glob("*.json")}
    assert [line for line in table if not line.good] == []
    assert main() == 0
    assert "0 out of tolerance" in capsys.readouterr().out
