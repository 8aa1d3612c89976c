"""Sheets of labels fit their paper, and what stands on them fits its label; codes can be read by a scanner."""

from __future__ import annotations

import pytest
import segno
import zxingcpp

from fleet.documents import make_pdf
from fleet.paper_sizes import A4, LETTER
from shop.label_sheets import LABEL_SHEETS, LabelSheet
from shop.papers.codes import QUIET_MODULES, code_of, module_mm
from shop.papers.labels import LabelLook, label_pages, parts_of
from tests import factories
from tests.paper_reading import assert_well_made, codes, nothing_amiss, pictures, reader, sizes_mm, tags, words

ADDRESS = "https://portal.alder-street.example/t/HHNGMVExTI0BH8y3s9PC_A/"
SHEETS = pytest.mark.parametrize("sheet", LABEL_SHEETS.values(), ids=LABEL_SHEETS.keys())


def make(units, sheet: LabelSheet, start: int = 1) -> bytes:
    pages = label_pages(units, sheet, start=start)
    pictures_of = {label.code_name: label.code for page in pages for label in page}
    context = {"pages": pages, "look": LabelLook(sheet), "outline": False}
    with nothing_amiss():
        return make_pdf("print/labels.html", context, sheet.paper, pictures_of)


@SHEETS
def test_labels_lie_within_their_paper_and_beside_each_other(sheet):
    places = [sheet.place(n) for n in range(sheet.count)]
    assert len(set(places)) == sheet.count
    for left, top in places:
        assert left >= -0.01
        assert top >= -0.01
        assert left + sheet.width <= sheet.paper.width + 0.01
        assert top + sheet.height <= sheet.paper.height + 0.01
    for a, (left, top) in enumerate(places):
        for other_left, other_top in places[:a]:
            apart = abs(left - other_left) >= sheet.width - 0.01 or abs(top - other_top) >= sheet.height - 0.01
            assert apart


def test_margins_of_common_sheets():
    """Figures printed on boxes of such sheets, from memory: half an inch above 30 labels of 2⅝ × 1 in, and so on."""
    inch = 25.4
    assert (LABEL_SHEETS["letter-30"].top, LABEL_SHEETS["letter-30"].left) == pytest.approx((inch / 2, 0.1875 * inch))
    assert LABEL_SHEETS["letter-10"].left == pytest.approx(0.15625 * inch)
    assert LABEL_SHEETS["letter-12"].top == pytest.approx(0.625 * inch, abs=0.01)
    assert (LABEL_SHEETS["a4-21"].top, LABEL_SHEETS["a4-21"].left) == pytest.approx((15.15, 7.25))


def test_paper_sizes():
    """ISO 216 gives A4 as 210 × 297 mm; ANSI/ASME Y14.1 gives size A as 8.5 × 11 in."""
    assert (A4.width, A4.height) == (210, 297)
    assert (LETTER.width / 25.4, LETTER.height / 25.4) == pytest.approx((8.5, 11))


@SHEETS
def test_codes_keep_their_clear_space_and_large_modules(sheet):
    side = LabelLook(sheet).code_side
    assert side <= min(sheet.width, sheet.height)
    assert module_mm(code_of(ADDRESS, side), side) >= 0.4


def test_the_larger_the_code_the_more_damage_it_bears():
    levels = [str(code_of(ADDRESS, side).error) for side in (14, 18, 21, 25, 40)]
    assert levels == sorted(levels, key="LMQH".index)
    assert levels[0] == "L"
    assert levels[-1] == "H"
    assert QUIET_MODULES == 4  # ISO/IEC 18004 asks for four, from memory
    assert segno.make_qr(ADDRESS).symbol_size(border=4) == segno.make_qr(ADDRESS).symbol_size()


@pytest.mark.django_db
@SHEETS
def test_a_scanner_reads_each_label(sheet):
    crew = factories.make_crew(factories.make_contractor())
    model = factories.make_model()
    units = [factories.make_unit(crew, tag, model=model, run=None) for tag in ("QH-01", "QH-02", "A" * 40)]
    labelled = [(unit, f"https://portal.example.org/t/{unit.tag_token}/") for unit in units]
    content = make(labelled, sheet)
    assert codes(content) == sorted(address for _unit, address in labelled)
    assert_well_made(content, "Tag labels")
    assert sizes_mm(content) == {(round(sheet.paper.width), round(sheet.paper.height))}
    said = words(content)
    assert "QH-01" in said
    assert said.replace(" ", "").count("A" * 20) >= 1
    assert ("Figure", "Code that opens unit QH-02") in tags(content)


@pytest.mark.django_db
def test_the_code_survives_scratches():
    """By the standard a quarter may be lost at level Q; a stroke of grease over a tenth must not matter."""
    crew = factories.make_crew(factories.make_contractor())
    unit = factories.make_unit(crew, "QH-01", run=None)
    content = make([(unit, ADDRESS)], LABEL_SHEETS["letter-30"])

    page = pictures(content, dpi=300)[0]
    found = zxingcpp.read_barcodes(page)[0]
    box = found.position
    width, height = box.top_right.x - box.top_left.x, box.bottom_left.y - box.top_left.y
    left, top = box.top_left.x + width * 0.45, box.top_left.y + height * 0.4
    page.paste(0, (int(left), int(top), int(left + width * 0.4), int(top + height * 0.18)))
    assert [code.text for code in zxingcpp.read_barcodes(page)] == [ADDRESS]


@pytest.mark.django_db
def test_a_sheet_that_was_begun_is_taken_up_where_it_was_left():
    crew = factories.make_crew(factories.make_contractor())
    model = factories.make_model()
    units = [factories.make_unit(crew, f"QH-{n:02d}", model=model, run=None) for n in range(4)]
    sheet = LABEL_SHEETS["letter-6"]
    pages = label_pages([(unit, ADDRESS) for unit in units], sheet, start=5)
    assert [len(page) for page in pages] == [2, 2]
    assert (pages[0][0].left, pages[0][0].top) == sheet.place(4)
    assert (pages[1][0].left, pages[1][0].top) == sheet.place(0)
    assert len(reader(make([(unit, ADDRESS) for unit in units], sheet, start=5)).pages) == 2


@SHEETS
def test_tags_are_as_large_as_their_label_allows(sheet):
    look = LabelLook(sheet)
    assert look.tag_size("QH-1") >= look.tag_size("QH-0001") >= look.tag_size("A" * 40) >= 2
    # Read from an arm's length: about 3 mm high at least (common practice), on the smallest label too.
    assert look.tag_size("QH-01") >= 4


def test_parts():
    assert parts_of(0, 120) == [(1, 1, 0)]
    assert parts_of(120, 120) == [(1, 1, 120)]
    assert parts_of(241, 120) == [(1, 1, 120), (2, 121, 240), (3, 241, 241)]
