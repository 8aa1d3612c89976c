"""``import_fleet`` and ``export_fleet``: what they print, and how they end."""

import io
import json

import pytest
from django.core.management import CommandError, call_command

from fleet.models import Contractor, Trimmer
from fleet.models.tenancy import all_tenants

pytestmark = pytest.mark.django_db
UNITS = "unit,crew,maker,model,registered_on,colour\nT1,North,Ostrel,Wren,2026-03-01,red\n"


def run(*args):
    """Standard output and exit code."""
    out = io.StringIO()
    try:
        call_command(*args, stdout=out)
    except SystemExit as end:
        return out.getvalue(), end.code
    return out.getvalue(), 0


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "Units.CSV").write_text(UNITS)
    (tmp_path / "notes.txt").write_text("not ours")
    return tmp_path


def test_json_has_the_keys_of_the_contract_and_nothing_else_is_printed(folder):
    (folder / "guard.csv").write_text("unit,date,guard\nT1,2026-04-01,wobbly\n")
    out, code = run("import_fleet", str(folder), "--contractor", "Quarry Hill Grounds", "--format", "json")
    assert code == 2
    report = json.loads(out)
    assert set(report) == {"added", "repeated", "bad", "ignored_columns"}
    assert report["added"] == {"Units.CSV": 1, "guard.csv": 0}
    assert report["repeated"] == {"Units.CSV": 0, "guard.csv": 0}
    assert report["ignored_columns"] == {"Units.CSV": ["colour"], "guard.csv": []}
    (bad,) = report["bad"]
    assert {k: bad[k] for k in ("file", "line", "column", "value")} == {
        "file": "guard.csv", "line": 2, "column": "guard", "value": "wobbly",
    }  # fmt: skip
    assert "off" in bad["reason"]


def test_codes_something_new_nothing_new_bad_rows(folder):
    command = ("import_fleet", str(folder), "--contractor", "Quarry Hill Grounds")
    assert run(*command)[1] == 0
    assert run(*command)[1] == 1
    (folder / "guard.csv").write_text("unit,date\nT1,2026-04-01\n")
    assert run(*command)[1] == 2


def test_a_dry_run_says_what_it_would_do_and_does_nothing(folder):
    out, code = run("import_fleet", str(folder), "--contractor", "Quarry Hill Grounds", "--dry-run")
    assert code == 0
    assert "would be added" in out
    assert not Contractor.objects.exists()


def test_a_table_for_people(folder):
    (folder / "guard.csv").write_text("unit,date,guard\nT1,2026-04-01,wobbly\n")
    out, _code = run("import_fleet", str(folder), "--contractor", "Quarry Hill Grounds")
    assert "wobbly" in out
    assert "colour" in out
    out, _code = run("import_fleet", str(folder), "--format", "csv")
    assert out.splitlines()[0] == "file,line,column,value,reason"


def test_folders_that_hold_nothing_end_with_code_two(tmp_path):
    for path in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(CommandError) as caught:
            run("import_fleet", str(path))
        assert caught.value.returncode == 2


def test_shops_and_contractors_named_as_options_are_created(folder):
    run("import_fleet", str(folder), "--contractor", "Quarry Hill Grounds", "--shop", "Alder Street Small Engine")
    contractor = Contractor.objects.get(name="Quarry Hill Grounds")
    assert contractor.arrangements.get().shop.name == "Alder Street Small Engine"


@pytest.mark.parametrize("options", [(), ("--xlsx",)])
def test_export_writes_what_import_takes(folder, tmp_path, options):
    run("import_fleet", str(folder), "--contractor", "Quarry Hill Grounds")
    out, code = run("export_fleet", str(tmp_path / "out"), "--format", "json", *options)
    assert code == 0
    assert {row["file"].partition(".")[0]: row["rows"] for row in json.loads(out)}["units"] == 1
    assert run("import_fleet", str(tmp_path / "out"))[1] == 1
    with all_tenants():
        assert Trimmer.objects.count() == 1


def test_export_of_an_unknown_contractor_ends_with_code_two(tmp_path):
    with pytest.raises(CommandError) as caught:
        run("export_fleet", str(tmp_path / "out"), "--contractor", "Nobody")
    assert caught.value.returncode == 2
    (tmp_path / "file").write_text("")
    with pytest.raises(CommandError) as caught:
        run("export_fleet", str(tmp_path / "file"))
    assert caught.value.returncode == 2
