"""Reading papers in tests with general-purpose libraries: their words, tags, sizes, pictures and codes.

Words and tags are read by pypdf, pages are drawn by PDFium (pypdfium2), codes are read by ZXing (zxing-cpp).
"""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pypdf
import pypdfium2
import pytest
import zxingcpp
from PIL import Image

POINTS_PER_MM = 72 / 25.4


def reader(content: bytes) -> pypdf.PdfReader:
    """The paper, opened."""
    assert content.startswith(b"%PDF-"), content[:80]
    return pypdf.PdfReader(io.BytesIO(content))


def words(content: bytes) -> str:
    """All words of the paper in one line."""
    return " ".join(" ".join(page.extract_text() for page in reader(content).pages).split())


def words_of(response: Any) -> str:
    """What any answer says; a paper's words are packed, so they are taken out first."""
    content = response.content
    return words(content) if content.startswith(b"%PDF-") else content.decode(errors="replace")


def sizes_mm(content: bytes) -> set[tuple[int, int]]:
    """Width and height of its pages in whole millimeters."""
    boxes = [page.mediabox for page in reader(content).pages]
    return {(round(float(b.width) / POINTS_PER_MM), round(float(b.height) / POINTS_PER_MM)) for b in boxes}


def tags(content: bytes) -> list[tuple[str, str]]:
    """(tag, alternative text) of every element of the structure tree, in order."""
    root = reader(content).trailer["/Root"]
    found: list[tuple[str, str]] = []

    def walk(node: Any) -> None:
        node = node.get_object()
        if isinstance(node, list):
            for child in node:
                walk(child)
        elif isinstance(node, dict):
            if "/S" in node:
                found.append((str(node["/S"])[1:], str(node.get("/Alt", ""))))
            if "/K" in node:
                walk(node["/K"])

    walk(root["/StructTreeRoot"])
    return found


def pictures(content: bytes, dpi: int = 200) -> list[Image.Image]:
    """Its pages as a printer in black and white would put them on paper."""
    document = pypdfium2.PdfDocument(content)
    try:
        return [page.render(scale=dpi / 72, grayscale=True).to_pil() for page in document]
    finally:
        document.close()


def codes(content: bytes) -> list[str]:
    """What a scanner reads from the codes on its pages."""
    found = [zxingcpp.read_barcodes(picture) for picture in pictures(content)]
    return sorted(code.text for page in found for code in page)


def assert_well_made(content: bytes, title: str) -> None:
    """What PDF/UA-1 (ISO 14289-1) asks of a file and can be read off it: marked, titled, in a language, told in words.

    Its clauses from memory: 7.1 marked content and title, 7.2 language, 7.3 alternative text of figures, 7.21 fonts.
    """
    paper = reader(content)
    root = paper.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert paper.metadata is not None
    assert title in (paper.metadata.title or "")
    assert b"pdfuaid" in root["/Metadata"].get_object().get_data()
    for tag, alternative in tags(content):
        assert tag != "Figure" or alternative.strip(), "a figure without words"
    for page in paper.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            held = font.get_object()
            inner = held["/DescendantFonts"][0].get_object() if "/DescendantFonts" in held else held
            descriptor = inner["/FontDescriptor"].get_object()
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor), "type that is not in the file"


class _Kept(logging.Handler):
    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said.append(record.getMessage())


@contextmanager
def nothing_amiss() -> Iterator[None]:
    """Fails where the page maker notes an omission, a missing letter, or a style it does not know."""
    kept = _Kept()
    log = logging.getLogger("weasyprint")
    log.addHandler(kept)
    try:
        yield
    finally:
        log.removeHandler(kept)
    if kept.said:
        pytest.fail("\n".join(kept.said))
