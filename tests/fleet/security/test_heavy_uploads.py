"""A few kilobytes that would unpack to hours of work are refused before the work begins."""

from __future__ import annotations

import io
import random
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook
from PIL import Image

from fleet.record import unit_notes, workbook_weight
from fleet.record.sheets import read_sheet
from tests.fleet.views.pages import errors

SHEET = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData></worksheet>'


def workbook(part: str, change) -> bytes:
    made = Workbook()
    made.active.append(["unit"])
    whole, out = io.BytesIO(), io.BytesIO()
    made.save(whole)
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, change(data) if name == part else data)
    return out.getvalue()


@pytest.mark.parametrize(
    ("part", "change"),
    [
        ("xl/worksheets/sheet1.xml", lambda _xml: SHEET % (b"<row>" + b"<c/>" * 400_000 + b"</row>")),
        ("xl/worksheets/sheet1.xml", lambda xml: xml.replace(b"</sheetData>", b"<x:row xmlns:x='y'/>" * 400 + b"<x/>")),
        ("xl/styles.xml", lambda xml: xml.replace(b"</fonts>", b"<font/>" * 400_000 + b"</fonts>")),
    ],
    ids=["one endless row", "too many elements", "styles without end"],
)
def test_workbooks_of_millions_of_elements_are_refused(part, change, monkeypatch):
    monkeypatch.setattr(workbook_weight, "MOST_BULK", 300)
    data = workbook(part, change)
    assert len(data) < 60_000
    sheet = read_sheet("units.xlsx", data)
    assert not sheet.lines
    assert "more than can be read" in sheet.faults[0].reason


@pytest.mark.django_db
def test_pictures_that_must_be_held_whole_are_smaller(portal):
    picture = io.BytesIO()
    Image.new("L", (5_000, 4_100)).save(picture, "PNG")
    url = reverse("unit_photos", args=[portal.units["due"].pk])
    upload = SimpleUploadedFile("p.png", picture.getvalue(), "image/png")
    assert "picture that can be read" in errors(portal.client("boss").post(url, {"picture": upload}))["id_picture"]


def test_damaged_pictures_are_refused_whatever_is_wrong_with_them():
    """Notes of the camera with bytes knocked out of them: errors of many types, none of which may get through."""
    notes = Image.Exif()
    notes[0x0112], notes[0x010F], notes[0x8825] = 6, "camera", {1: "N", 2: (1.0, 2.0, 3.0)}
    good = io.BytesIO()
    Image.effect_noise((60, 40), 50).convert("RGB").save(good, "PNG", exif=notes)
    chance, taken, refused = random.Random(1), 0, 0
    for _time in range(400):
        data = bytearray(good.getvalue())
        for _hit in range(chance.choice((1, 2, 6))):
            data[chance.randrange(260)] = chance.randrange(256)
        try:
            unit_notes.redraw(io.BytesIO(bytes(data)))
            taken += 1
        except unit_notes.Refused:
            refused += 1
    assert refused
    assert taken + refused == 400
