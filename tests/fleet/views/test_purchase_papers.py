"""Purchase papers of a unit: kept bounded and bare, seen by owner and office alone, and on the theft sheet."""

from __future__ import annotations

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from fleet.models import PurchasePaper
from fleet.models.tenancy import all_tenants
from fleet.papers import theft_pictures
from fleet.record import purchase_papers
from tests import factories
from tests.fleet.views.pages import queries, text
from tests.paper_reading import assert_well_made, nothing_amiss, tags, words


def scan(size=(3300, 2550), form="JPEG", **kwargs) -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", size, (250, 250, 240)).save(out, form, **kwargs)
    return SimpleUploadedFile("invoice of J. Doe.jpg", out.getvalue(), "image/jpeg")


def kept() -> list[PurchasePaper]:
    with all_tenants():
        return list(PurchasePaper.objects.order_by("pk"))


@pytest.mark.parametrize("who", ["owner", "manager", "administrator"])
def test_a_scan_is_redrawn_bounded_and_bare_and_stands_on_the_units_page(portal, who):
    unit, client = portal.units["due"], portal.client(who)
    exif = Image.Exif()
    exif[0x010E] = "a desk at 44.05 N"
    answer = client.post(
        reverse("purchase_papers", args=[unit.pk]), {"picture": scan(exif=exif), "caption": "Receipt of Mar 4"}
    )
    assert answer["Location"] == reverse("unit", args=[unit.pk]) + "#purchase-papers"
    (paper,) = kept()
    assert "Doe" not in paper.picture.name
    response = client.get(reverse("purchase_paper", args=[unit.pk, paper.pk]))
    assert response["Content-Type"] == "image/jpeg"
    assert response["Content-Security-Policy"] == "default-src 'none'; sandbox"
    drawn = Image.open(io.BytesIO(response.content))
    assert max(drawn.size) == purchase_papers.LONGEST_PAPER
    assert not drawn.getexif()
    assert b"44.05" not in response.content
    page = text(client.get(reverse("unit", args=[unit.pk])))
    assert "Purchase papers" in page
    assert "Receipt of Mar 4" in page


def test_crews_and_the_bench_neither_see_nor_add_them(portal):
    unit = portal.units["due"]
    paper = factories.make_purchase_paper(unit, "Receipt of Mar 4")
    for who in ("boss", "technician", "stranger", "neighbor", "other_bench"):
        client = portal.client(who)
        for url in (
            reverse("purchase_papers", args=[unit.pk]),
            reverse("purchase_paper", args=[unit.pk, paper.pk]),
            reverse("purchase_paper_remove", args=[unit.pk, paper.pk]),
        ):
            assert client.post(url, {"picture": scan((20, 20))}).status_code == 404, (who, url)
        assert client.get(reverse("purchase_paper", args=[unit.pk, paper.pk])).status_code == 404
    for who in ("boss", "technician"):
        page = text(portal.client(who).get(reverse("unit", args=[unit.pk])))
        assert "Receipt of Mar 4" not in page
        assert "Purchase papers" not in page
    # By another unit's address it is not there either.
    other = reverse("purchase_paper", args=[portal.units["fresh"].pk, paper.pk])
    assert portal.client("owner").get(other).status_code == 404
    assert len(kept()) == 1


def test_what_is_no_picture_or_too_much_is_refused_on_the_page(portal, monkeypatch):
    unit, client = portal.units["due"], portal.client("owner")
    url = reverse("purchase_papers", args=[unit.pk])
    pdf = SimpleUploadedFile("receipt.pdf", b"%PDF-1.7 no picture", "application/pdf")
    answer = client.post(url, {"picture": pdf, "caption": "Receipt"})
    assert answer.status_code == 422
    assert "no JPEG, PNG or WebP picture" in text(answer, 422)
    assert client.post(url, {"picture": scan((9000, 8000), "PNG")}).status_code == 422
    monkeypatch.setattr(purchase_papers, "MOST_PAPERS", 1)
    assert client.post(url, {"picture": scan((80, 60))}).status_code == 302
    answer = client.post(url, {"picture": scan((80, 60))})
    assert "already. Remove one first." in text(answer, 422)
    assert len(kept()) == 1


def test_one_receipt_is_kept_with_several_units(portal):
    due, fresh, client = portal.units["due"], portal.units["fresh"], portal.client("owner")
    with all_tenants():
        for unit in (due, fresh):
            unit.bought_on = factories.days_ago(200)
            unit.save()
    url = reverse("purchase_papers", args=[due.pk])
    assert "Bought the same day: QH-02" in text(client.get(url))
    answer = client.post(url, {"picture": scan((300, 400)), "caption": "Receipt", "others": "qh02, QH-99"})
    assert "No unit wears: QH-99." in text(answer, 422)
    # Another contractor's unit is no unit here.
    assert "No unit wears: ME-01." in text(client.post(url, {"picture": scan((30, 40)), "others": "ME-01"}), 422)
    assert kept() == []
    assert (
        client.post(url, {"picture": scan((300, 400)), "caption": "Receipt", "others": "qh02 QH-01"}).status_code == 302
    )
    assert sorted(paper.trimmer_id for paper in kept()) == [due.pk, fresh.pk]
    # Each has a file of its own: taking one away leaves the other.
    first, second = kept()
    client.post(reverse("purchase_paper_remove", args=[first.trimmer_id, first.pk]))
    assert second.picture.storage.exists(second.picture.name)
    assert "Bought the same day" not in text(client.get(url))


def test_a_paper_is_taken_away_file_and_all(portal):
    unit, client = portal.units["due"], portal.client("owner")
    paper = factories.make_purchase_paper(unit)
    storage, name = paper.picture.storage, paper.picture.name
    url = reverse("purchase_paper_remove", args=[unit.pk, paper.pk])
    assert client.get(url).status_code == 405
    assert client.post(url).status_code == 302
    assert kept() == []
    assert not storage.exists(name)


def test_the_theft_sheet_has_them_on_screen_on_paper_and_in_the_file(portal, monkeypatch):
    due, fresh = portal.units["due"], portal.units["fresh"]
    factories.make_purchase_paper(due, "Receipt of Mar 4")
    lost = factories.make_purchase_paper(fresh, "Invoice 118")
    lost.picture.storage.delete(lost.picture.name)
    client, query = portal.client("owner"), {"tags": "QH-01,QH-02,QH-03"}
    page = client.get(reverse("theft_sheet"), query)
    assert "1 has no purchase paper on record." in text(page)
    assert reverse("purchase_papers", args=[portal.units["held"].pk]) in page.content.decode()
    on_paper = client.get(reverse("theft_sheet_print"), query).content.decode()
    assert 'alt="Purchase paper of QH-01: Receipt of Mar 4"' in on_paper
    with nothing_amiss():
        content = client.get(reverse("theft_sheet_pdf"), query).content
    assert_well_made(content, "Stolen equipment")
    assert ("Figure", "Purchase paper of QH-01: Receipt of Mar 4") in tags(content)
    assert "Purchase papers" in words(content)
    # A file that is gone leaves the sheet standing, and is counted.
    assert "1 more picture is on the units' pages" in words(content)
    monkeypatch.setattr(theft_pictures, "MOST_PAPERS", 0)
    assert "2 more pictures" in words(client.get(reverse("theft_sheet_pdf"), query).content)


def test_as_many_queries_for_many_papers(portal):
    unit, client = portal.units["due"], portal.client("owner")
    factories.make_purchase_paper(unit)
    urls = [reverse("unit", args=[unit.pk]), reverse("theft_sheet") + "?tags=QH-01"]
    few = [queries(client, url) for url in urls]
    for _number in range(4):
        factories.make_purchase_paper(unit)
    assert [queries(client, url) for url in urls] == few
