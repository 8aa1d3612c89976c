"""The papers page and the crew sheet of what to bring."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from tests import factories
from tests.fleet.views.pages import errors, queries, text
from tests.paper_reading import assert_well_made, nothing_amiss, pictures, reader, sizes_mm, tags, words

PAPER_STYLES = [Path(__file__).parents[3] / app / "static" / app / "paper" for app in ("fleet", "shop")]


def sheet(client, **query) -> bytes:
    with nothing_amiss():
        response = client.get(reverse("crew_sheet"), query)
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    return response.content


@pytest.fixture
def north(portal):
    """North's QH-01 is past due at the bench, QH-02 cannot be stopped; South's QH-03 has its guard off."""
    factories.see_guard(portal.units["fresh"], "on", days=1, safety="no_stop")
    return portal


def test_the_page_counts_what_goes(north):
    page = text(north.client("boss").get(reverse("papers")))
    assert "of North go" in page
    assert "What to bring: the crew sheet" in page
    assert "Tag labels" not in page
    assert "Tag labels" in text(north.client("owner").get(reverse("papers")))


def test_the_sheet_names_units_jobs_and_cautions(north):
    content = sheet(north.client("boss"))
    said = words(content)
    assert "Crew North, Quarry Hill Grounds" in said
    assert "Alder Street Small Engine" in said
    assert "QH-02" in said
    assert "Engine does not stop" in said
    assert "Hold: do not start, not even to load it." in said
    assert "engines cold, plug leads off, fuel caps tight" in said
    assert "The operator's manual and local rules come first." in said
    assert "What is wrong, in your words" in said
    assert "Fuel in it:" in said
    assert "QH-03" not in said
    assert "ME-01" not in said
    assert_well_made(content, "What to bring to the shop: North")
    assert {"H1", "H2", "L", "LI", "P"} <= {tag for tag, _alt in tags(content)}


def test_yard_jobs_stay_at_home(north):
    """What the crew does itself is no reason for a trip; a guard that is off is put right in the yard."""
    said = words(sheet(north.client("south"), crew=north.south.pk))
    assert "Gearbox grease" not in said
    assert "On hold, and yours to put right in the yard QH-03 (Guard off)" in said


def test_each_unit_has_its_rail_with_words(portal):
    model = factories.make_model("Rook", mounts=50)
    factories.make_unit(portal.north, "QH-09", model=model, run=60)
    alternatives = [alt for tag, alt in tags(sheet(portal.client("boss"))) if tag == "Figure"]
    assert any("QH-09" in alt and "due at 50 hours" in alt for alt in alternatives)


def test_a_recall_notice_stands_on_it(north):
    factories.make_notice(north.units["due"].model)
    said = words(sheet(north.client("boss")))
    assert "the fuel cap may leak" in said


def test_an_open_fault_that_can_hurt_goes_to_the_shop(portal):
    fresh = portal.units["fresh"]
    factories.break_part(fresh, "gearbox", done="", cause="", what="Gearbox loose")
    said = words(sheet(portal.client("boss")))
    assert "QH-02" in said
    assert "Gearbox loose" in said
    assert "Do not start it until the shop has looked." in said


def test_nothing_due_still_gives_a_sheet_with_blank_lines(portal):
    crew = factories.make_crew(portal.quarry, "Empty")
    said = words(sheet(portal.client("owner"), crew=crew.pk))
    assert "No bench job falls due" in said
    assert "Also going: units not listed, and other kit" in said


@pytest.mark.parametrize(("paper", "mm"), [("letter", (216, 279)), ("a4", (210, 297))])
def test_paper_as_asked_and_remembered(north, paper, mm):
    client = north.client("boss")
    assert sizes_mm(sheet(client, paper=paper)) == {mm}
    assert f'<option value="{paper}" selected>' in client.get(reverse("papers")).content.decode()


def test_other_sizes_and_days_are_refused(north):
    client = north.client("boss")
    url = reverse("crew_sheet")
    assert "id_paper" in errors(client.get(url, {"paper": "legal"}))
    past = errors(client.get(url, {"carry": "2020-01-01"}))
    assert past == {"id_carry": "Choose a day that is still to come."}
    response = client.get(url, {"carry": "someday", "paper": "a4"})
    assert "id_carry" in errors(response)
    assert '<option value="a4" selected>' in response.content.decode()


def test_a_later_day_brings_more(portal):
    model = factories.make_model("Rook", mounts=80, **dict.fromkeys(("clutch", "stop_switch", "port"), 9_000))
    factories.make_unit(portal.north, "QH-09", model=model, run=60, registered=60)
    client = portal.client("boss")
    soon = (dt.date.today() + dt.timedelta(days=8)).isoformat()
    later = (dt.date.today() + dt.timedelta(days=300)).isoformat()
    assert "QH-09" not in words(sheet(client, carry=soon))
    assert "QH-09" in words(sheet(client, carry=later))


def test_strangers_cannot_ask_for_a_crew(portal):
    for who in ("neighbor", "stranger", "other_bench"):
        for name in ("papers", "crew_sheet"):
            assert portal.client(who).get(reverse(name), {"crew": portal.north.pk}).status_code == 404


def test_long_sheets_come_in_parts(portal, monkeypatch):
    model = factories.make_model("Rook", mounts=50)
    for number in range(3):
        factories.make_unit(portal.north, f"QH-1{number}", model=model, run=60 + number)
    monkeypatch.setattr("shop.views.papers.MOST_UNITS", 2)
    client = portal.client("boss")
    assert "Units 1 to 2" in text(client.get(reverse("papers")))
    first, second = words(sheet(client, part=1)), words(sheet(client, part=2))
    assert "This is units 1 to 2." in first
    shown = [tag for tag in ("QH-01", "QH-02", "QH-10", "QH-11", "QH-12") if tag in first]
    assert len(shown) == 2
    assert not [tag for tag in shown if tag in second]


def test_papers_own_style_is_black_gray_and_white():
    """A printer without color loses nothing: style sheets and signs of papers name no color."""
    files = [path for room in PAPER_STYLES for path in room.iterdir() if path.suffix in {".css", ".svg"}]
    assert len(files) > 6
    for path in files:
        source = path.read_text()
        for color in re.findall(r"#[0-9a-fA-F]{3,8}\b", source):
            digits = color[1:] if len(color) == 7 else "".join(2 * digit for digit in color[1:])
            assert digits[:2] == digits[2:4] == digits[4:6], f"{path.name}: {color}"
        assert not re.search(r"\b(rgb|hsl|red|green|blue|orange|yellow)\b", source), path.name


def test_pages_do_not_run_over(portal):
    """No word is cut off at the right edge: the outer 8 mm of the sheet stay white."""
    model = factories.make_model("Rook with a very long name of its own indeed", mounts=50)
    factories.make_unit(portal.north, "A-TAG-OF-ALL-FORTY-CHARACTERS-0123456789", model=model, run=60)
    for page in pictures(sheet(portal.client("boss")), dpi=50):
        edge = page.crop((page.width - 16, 0, page.width, page.height))
        assert edge.getextrema()[0] == 255


def test_a_portal_without_crews_has_a_page_all_the_same(db):
    contractor = factories.make_contractor("Bare Hill")
    person = factories.make_person("bare.owner", "owner", contractor=contractor)
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    assert "No crew with units yet." in text(client.get(reverse("papers")))
    assert client.get(reverse("crew_sheet")).status_code == 200
    assert client.get(reverse("crew_sheet"))["Content-Type"].startswith("text/html")
    assert "No units yet" in text(client.get(reverse("labels")))


def test_as_many_queries_for_twenty_units_as_for_two(portal):
    model = factories.make_model("Rook", mounts=50)
    factories.make_unit(portal.north, "QH-09", model=model, run=60)
    client = portal.client("boss")
    few = [queries(client, reverse(name)) for name in ("papers", "crew_sheet")]
    for number in range(10, 28):
        factories.make_unit(portal.north, f"QH-{number}", model=model, run=60)
    assert [queries(client, reverse(name)) for name in ("papers", "crew_sheet")] == few
    assert len(reader(sheet(client)).pages) > 2
