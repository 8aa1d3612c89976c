"""The owner's papers as PDF: what they say, for whom they are made, and that they are well made."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.urls import reverse

from fleet.models.tenancy import all_tenants
from fleet.papers import theft_pictures
from fleet.upkeep.review_store import refresh_reviews
from tests import factories
from tests.fleet.views.pages import text
from tests.paper_reading import assert_well_made, nothing_amiss, sizes_mm, tags, words

PAPERS = ("theft_sheet_pdf", "season_budget_pdf")


def paper(client, name: str, **query) -> bytes:
    with nothing_amiss():
        response = client.get(reverse(name), query)
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    assert response["Cache-Control"] == "private, no-store"
    return response.content


def test_nobody_but_the_owner_gets_them(portal):
    for name in PAPERS:
        for who in ("boss", "technician", "manager", "stranger", "neighbor"):
            assert portal.client(who).get(reverse(name)).status_code == 404, (name, who)
        assert portal.client("owner").get(reverse(name), {"contractor": portal.millrace.pk}).status_code == 404


def test_without_anything_to_say_they_lead_to_the_page_that_tells_why(portal):
    client = portal.client("owner")
    assert client.get(reverse("theft_sheet_pdf"), {"tags": "no-such"})["Location"].startswith(reverse("theft_sheet"))
    assert client.get(reverse("season_budget_pdf"))["Location"] == reverse("season_budget")


def test_the_theft_sheet_has_serials_prices_and_pictures(portal):
    due = portal.units["due"]
    with all_tenants():
        due.price = Decimal("329.00")
        due.save()
    factories.make_photo(due, "serial plate")
    content = paper(portal.client("owner"), "theft_sheet_pdf", tags="QH-01, QH-02", paper="a4")
    assert_well_made(content, "Stolen equipment")
    assert sizes_mm(content) == {(210, 297)}
    said = words(content)
    for expected in ("2 string trimmers", "$329.00", "1 without a price on record", "OH2310001", "not on record",
                     "Police report no.", "Quarry Hill Grounds"):  # fmt: skip
        assert expected in said
    assert ("Figure", "QH-01: serial plate") in tags(content)


def test_a_lost_file_or_too_many_pictures_leave_the_sheet_standing(portal, monkeypatch):
    monkeypatch.setattr(theft_pictures, "MOST_PICTURES", 2)
    due, fresh = portal.units["due"], portal.units["fresh"]
    for number in range(2):
        factories.make_photo(due, f"side {number}")
    gone = factories.make_photo(fresh, "the only one")
    gone.picture.storage.delete(gone.picture.name)
    content = paper(portal.client("owner"), "theft_sheet_pdf", tags="QH-01,QH-02")
    # Each unit's first picture is wanted before anybody's second; one of the two is lost.
    assert "2 more pictures are on the units' pages" in words(content)
    assert [alt for tag, alt in tags(content) if tag == "Figure"] == ["QH-01: side 0"]


def test_the_budget_on_paper_says_what_the_page_says(told):
    with all_tenants():
        refresh_reviews([told.quarry], today=dt.date.today())
    client = told.client("owner")
    page = client.get(reverse("season_budget"))
    content = paper(client, "season_budget_pdf")
    assert_well_made(content, "Season budget")
    said = words(content)
    total = page.context["totals"]["expected"]
    assert f"${total:,.0f}" in said
    assert "four times in five between" in said
    assert "Budget as PDF" in text(page)
