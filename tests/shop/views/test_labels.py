"""Choosing labels, making them, and a lost tag's new one."""

from __future__ import annotations

import pytest
from django.urls import reverse

from fleet.models import Trimmer
from fleet.models.tenancy import all_tenants
from tests import factories
from tests.fleet.views.pages import errors, queries, text
from tests.paper_reading import codes, nothing_amiss, reader, sizes_mm, words


def pdf(client, **query) -> bytes:
    with nothing_amiss():
        response = client.get(reverse("labels_pdf"), query)
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    return response.content


def address(unit) -> str:
    return "http://testserver" + reverse("tag", args=[Trimmer.objects.get(pk=unit.pk).tag_token])


@pytest.fixture
def units(portal):
    return portal.units


def test_the_page_says_how_many_and_for_whom(portal):
    page = text(portal.client("owner").get(reverse("labels")))
    assert "Labels for 3 units" in page
    assert "QH-01" in page
    assert "ME-01" not in page
    assert "no public address yet" in page
    assert "never over a warning" in page


def test_with_a_public_address_codes_open_that(portal, settings, units):
    settings.PUBLIC_URL = "https://portal.example.org"
    client = portal.client("owner")
    assert "no public address" not in text(client.get(reverse("labels")))
    with all_tenants():
        token = Trimmer.objects.get(pk=units["due"].pk).tag_token
    read = codes(pdf(client, which="ticked", unit=units["due"].pk))
    assert read == [f"https://portal.example.org/t/{token}/"]


def test_all_units_chosen_get_a_label_that_opens_them(portal, units):
    client = portal.client("owner")
    with all_tenants():
        wanted = sorted(address(units[name]) for name in ("due", "fresh", "held"))
    assert codes(pdf(client)) == wanted
    response = client.get(codes(pdf(client, which="ticked", unit=units["due"].pk))[0])
    assert response["Location"] == reverse("unit", args=[units["due"].pk])


def test_each_scanner_sees_the_unit_in_their_own_role(portal, units):
    opened = codes(pdf(portal.client("owner"), which="ticked", unit=units["due"].pk))[0]
    for who in ("boss", "technician", "manager"):
        assert portal.client(who).get(opened)["Location"] == reverse("unit", args=[units["due"].pk])
    for who in ("neighbor", "stranger", "other_bench"):
        assert portal.client(who).get(opened).status_code == 404


def test_crew_and_search_narrow_it_down(portal):
    client = portal.client("owner")
    assert "Labels for 2 units" in text(client.get(reverse("labels"), {"crew": portal.north.pk}))
    assert "QH-03" not in words(pdf(client, crew=portal.north.pk))
    assert "A label for 1 unit" in text(client.get(reverse("labels"), {"q": "qh-02"}))
    assert "No unit found." in text(client.get(reverse("labels"), {"q": "nothing such"}))


def test_units_out_of_service_get_none(portal, units):
    with all_tenants():
        Trimmer.objects.filter(pk=units["fresh"].pk).update(retired_on="2026-03-04")
    assert "QH-02" not in words(pdf(portal.client("owner")))


def test_another_contractors_units_cannot_be_ticked(portal, units):
    client = portal.client("owner")
    response = client.get(reverse("labels_pdf"), {"which": "ticked", "unit": units["theirs"].pk})
    assert errors(response) == {"": "Tick the units that need a label."}
    assert client.get(reverse("labels"), {"contractor": portal.millrace.pk}).status_code == 404
    assert client.get(reverse("labels_pdf"), {"contractor": portal.millrace.pk}).status_code == 404
    assert client.get(reverse("labels_pdf"), {"contractor": "x"}).status_code == 404


def test_crew_bosses_and_technicians_make_none(portal, units):
    for who in ("boss", "technician"):
        for url in (reverse("labels"), reverse("labels_pdf"), reverse("unit_label", args=[units["due"].pk])):
            assert portal.client(who).get(url).status_code == 404


def test_bad_input_keeps_what_was_chosen(portal, units):
    client = portal.client("owner")
    asked = {"sheet": "letter-6", "start": "7", "which": "ticked", "unit": units["due"].pk}
    response = client.get(reverse("labels_pdf"), asked)
    assert errors(response) == {"id_start": "This sheet has 6 labels."}
    html = response.content.decode()
    assert '<option value="letter-6" selected>' in html
    assert f'value="{units["due"].pk}" checked' in html
    for bad in ({"sheet": "no-such"}, {"start": "0"}, {"start": "x"}, {"start": ""}):
        assert client.get(reverse("labels_pdf"), bad).status_code == 422
    assert client.get(reverse("labels_pdf"), {"which": "ticked"}).status_code == 422
    assert client.get(reverse("labels_pdf"), {"which": "ticked", "unit": "x' OR 1=1"}).status_code == 422
    assert client.get(reverse("labels_pdf"), {"part": "99"}).status_code == 422


def test_the_sheet_used_last_is_offered_first(portal):
    client = portal.client("owner")
    assert sizes_mm(pdf(client, sheet="a4-8")) == {(210, 297)}
    assert '<option value="a4-8" selected>' in client.get(reverse("labels")).content.decode()


def test_many_units_come_in_parts(portal, units, monkeypatch):
    monkeypatch.setattr("shop.views.labels.MOST_LABELS", 2)
    client = portal.client("owner")
    assert "Labels 1 to 2 Labels 3 to 3" in text(client.get(reverse("labels")))
    first, second = words(pdf(client, part=1)), words(pdf(client, part=2))
    assert ("QH-01" in first, "QH-02" in first, "QH-03" in first) == (True, True, False)
    assert ("QH-01" in second, "QH-03" in second) == (False, True)


def test_a_lost_tags_label(portal, units):
    """Revoked and printed again: the old label is dead, the new one opens the unit."""
    client = portal.client("owner")
    unit = units["due"]
    with all_tenants():
        old = address(unit)
    assert "Print its label" in text(client.get(reverse("unit_tag", args=[unit.pk])))
    client.post(reverse("unit_tag", args=[unit.pk]))
    page = client.get(reverse("unit_label", args=[unit.pk]), follow=True)
    assert "A label for 1 unit" in text(page)
    new = codes(pdf(client, one=unit.pk))
    with all_tenants():
        assert new == [address(unit)]
    assert new != [old]
    assert client.get(old).status_code == 404
    assert client.get(new[0]).status_code == 302


def test_markup_in_a_tag_is_no_markup(portal):
    factories.make_unit(portal.north, "<b>&x</b>", model=portal.units["due"].model, run=None)
    content = pdf(portal.client("owner"), q="<b>")
    assert "<b>&x</b>" in words(content)
    assert len(reader(content).pages) == 1


def test_labels_are_kept_by_nobody_on_the_way(portal):
    response = portal.client("owner").get(reverse("labels_pdf"))
    assert "no-store" in response["Cache-Control"]
    assert response["Content-Disposition"] == 'inline; filename="labels-quarry-hill-grounds.pdf"'


def test_a_busy_page_maker_is_told(portal, monkeypatch):
    from fleet.documents import _one_at_a_time

    monkeypatch.setattr("fleet.documents.PATIENCE_SECONDS", 0.01)
    with _one_at_a_time:
        response = portal.client("owner").get(reverse("labels_pdf"), follow=True)
    assert "Wait half a minute" in text(response)


def test_as_many_queries_for_twenty_units_as_for_two(portal):
    client = portal.client("owner")
    few = [queries(client, reverse(name)) for name in ("labels", "labels_pdf")]
    for number in range(10, 28):
        factories.make_unit(portal.north, f"QH-{number}", model=portal.units["due"].model)
    assert [queries(client, reverse(name)) for name in ("labels", "labels_pdf")] == few
