"""The way from a template to a PDF: reads our own files alone, tagged, complete in its type."""

from __future__ import annotations

import gc
import threading

import pytest
from django.template import TemplateSyntaxError, engines
from django.test import override_settings
from weasyprint import HTML

from fleet import documents
from fleet.documents import BASE_URL, BusyError, OurFiles, make_pdf, static_name
from fleet.paper_sizes import A4, LETTER
from tests.paper_reading import assert_well_made, nothing_amiss, sizes_mm, tags, words

STYLE = f"{BASE_URL}/static/fleet/paper/document.css"


@pytest.fixture
def paper(monkeypatch):
    """A paper with the given page, made as all papers are."""

    def made(page: str, size=LETTER) -> bytes:
        source = '{% extends "print/document.html" %}{% block title %}Trial{% endblock %}{% block page %}'
        template = engines["django"].from_string(f"{source}{page}{{% endblock %}}")
        monkeypatch.setattr(documents, "render_to_string", lambda _name, context: template.render(context))
        return make_pdf("trial", {}, size)

    return made


def test_our_own_files_are_read():
    assert b"Atkinson" in OurFiles().fetch(STYLE).read()
    font = OurFiles().fetch(f"{BASE_URL}/static/fleet/fonts/atkinson-hyperlegible-next-latin.woff2")
    assert font.read(4) == b"wOF2"


@pytest.mark.parametrize(
    "url",
    [
        "file:///etc/passwd",
        "FILE:///etc/passwd",
        "http://169.254.169.254/latest/meta-data/",
        "https://example.org/a.png",
        "ftp://example.org/a.png",
        "data:text/plain,secret",
        "data:image/svg+xml,<svg/>",
        f"{BASE_URL}/static/../fleet/settings.py",
        f"{BASE_URL}/static/%2e%2e/fleet/settings.py",
        f"{BASE_URL}/static/%2e%2e%2f%2e%2e%2ffleet/settings.py",
        f"{BASE_URL}/static//etc/passwd",
        f"{BASE_URL}/static/%2fetc/passwd",
        f"{BASE_URL}/static/fleet\\..\\..\\settings.py",
        f"{BASE_URL}/static/a%00.css",
        f"{BASE_URL}/static/",
        f"{BASE_URL}/static/fleet/css",
        f"{BASE_URL}/static/no-such-file.css",
        f"{BASE_URL}/media/photos/x.jpg",
        f"{BASE_URL}.example.org/static/fleet/paper/document.css",
        "http://user@papers.invalid@example.org/static/fleet/paper/document.css",
        "//papers.invalid/static/fleet/paper/document.css",
        "",
    ],
)
def test_everything_else_is_refused_unread(url, monkeypatch):
    monkeypatch.setattr("urllib.request.OpenerDirector.open", lambda *a, **k: pytest.fail("it went to look"))
    for ask in (OurFiles().fetch, OurFiles(), OurFiles().open):
        with pytest.raises(ValueError, match="not one of our own files"):
            ask(url)


def test_pictures_made_for_a_paper_are_its_own():
    name = f"{BASE_URL}/made-for-this-paper/code.png"
    assert OurFiles({"code.png": b"dots"}).fetch(name).read() == b"dots"
    with pytest.raises(ValueError, match="our own"):
        OurFiles().fetch(name)


def test_a_paper_that_names_other_addresses_shows_nothing_of_them(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("the secret words")
    html = (
        f'<html lang="en"><title>x</title><body><p>Seen</p><img alt="" src="file://{secret}">'
        f'<object data="file://{secret}"></object><a href="x">a</a>'
        f'<link rel="attachment" href="file://{secret}"><style>@import url(file://{secret});</style></body></html>'
    )
    content = HTML(string=html, base_url=BASE_URL, url_fetcher=OurFiles()).write_pdf(uncompressed_pdf=True)
    assert b"the secret words" not in content
    assert "Seen" in words(content)


def test_names_of_static_files_with_a_fingerprint_are_read_where_they_are_collected(tmp_path):
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "paper.0a1b2c.css").write_text("collected")
    with override_settings(
        PUBLIC_URL="https://portal.example.org",
        STATIC_ROOT=str(tmp_path),
        STORAGES={
            "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
            "staticfiles": {
                "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage",
                "OPTIONS": {"location": str(tmp_path)},
            },
        },
    ):
        assert OurFiles().fetch(f"{BASE_URL}/static/shop/paper.0a1b2c.css").read() == b"collected"


@pytest.mark.parametrize(("size", "mm"), [(LETTER, (216, 279)), (A4, (210, 297))])
def test_pages_are_tagged_and_of_the_size_asked_for(paper, size, mm):
    with nothing_amiss():
        content = paper("<h1>Head</h1><ul><li>One</li></ul>", size)
    assert_well_made(content, "Trial")
    assert sizes_mm(content) == {mm}
    assert {"H1", "L", "LI"} <= {tag for tag, _alt in tags(content)}
    assert "Page 1 / 1" in words(content)


def test_letters_beyond_english_are_in_the_type(paper):
    """Names come from everywhere: Latin letters from our own type, others from DejaVu."""
    said = "Łódź Peña São Großmann Škoda Dvořák Ağrı Ýmir Жук Ωμέγα ½ × – ° €"
    with nothing_amiss():
        content = paper(f"<p>{said}</p><p><b>{said}</b></p>")
    assert words(content).count(said) == 2
    assert_well_made(content, "Trial")


def test_what_is_missing_is_noticed(paper):
    """The checks of this suite can fail: a picture without words, and a letter that no type has."""
    with pytest.raises(pytest.fail.Exception, match="no required alt"), nothing_amiss():
        paper('<img src="/static/fleet/img/touch-icon.png">')
    with pytest.raises(pytest.fail.Exception, match="notdef"), nothing_amiss():
        paper("<p>\U0001fae0\U00013000</p>")


def test_one_paper_at_a_time_and_a_plain_answer_to_who_waits_too_long(paper, monkeypatch):
    monkeypatch.setattr(documents, "PATIENCE_SECONDS", 0.01)
    with documents._one_at_a_time, pytest.raises(BusyError):
        paper("<p>x</p>")
    assert paper("<p>x</p>")


def test_the_collector_of_rubbish_is_on_again_afterwards(paper):
    assert gc.isenabled()
    paper("<p>x</p>")
    assert gc.isenabled()
    with pytest.raises(TemplateSyntaxError):
        paper("{% no_such_tag %}")
    assert gc.isenabled()


def test_papers_made_at_once_do_not_mix(paper):
    source = engines["django"].from_string("<html lang='en'><title>x</title><p>{{ who }} {{ who }}</p></html>")
    made: dict[str, bytes] = {}

    def make(who: str) -> None:
        fonts = documents.FontConfiguration()
        with documents._one_at_a_time:
            page = HTML(string=source.render({"who": who}), base_url=BASE_URL, url_fetcher=OurFiles())
            made[who] = page.write_pdf(font_config=fonts)

    threads = [threading.Thread(target=make, args=(f"unit{n}",)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {who: words(content) for who, content in made.items()} == {who: f"{who} {who}" for who in made}
    assert len(made) == 6


def test_static_names():
    assert static_name(STYLE) == "fleet/paper/document.css"
    assert static_name(f"{STYLE}?x=1") is None
