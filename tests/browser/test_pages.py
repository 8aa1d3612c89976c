"""Every page that each kind of person can reach, in a real browser: no error, nothing refused, nothing cut off.

Accessibility is judged by axe (rules of WCAG 2.2, https://www.w3.org/TR/WCAG22/), on a wide light page and on a
narrow dark one; reflow down to 320 px is WCAG's criterion 1.4.10.
"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import Site
from tests.browser.visiting import DESK, NARROW, PHONE, Visitor, pattern_of, visitor

PASSWORD = "invented-demo-data"
PEOPLE = ["north.boss", "quarry.owner", "bench", "bench.manager", "portal.admin"]
MOST_PAGES = 60
# Kinds of page that axe has judged in this run. Where a person's day starts is judged for each anew, with its top bar.
JUDGED: set[str] = set()
# What axe may find in dark colors on a narrow page that it did not find on a wide light one.
OF_COLOR_AND_WIDTH = ("color-contrast", "link-in-text-block", "target-size", "scrollable-region-focusable")
# Links that end the visit or change who is looking, and the signing-in library's own corner beyond its first pages.
LEFT_OUT = re.compile(r"logout|sign-out|/static/|/account/(2fa|reauthenticate|confirm)|\.(csv|xlsx|pdf|ics|jpg)$")


def _look(person: Visitor, *, with_axe: bool) -> list[str]:
    """Look at the page at three widths, light and dark."""
    wrong = person.refusals()
    for size in (NARROW, PHONE, DESK):
        person.size(size)
        wrong += person.sideways()
    if with_axe:
        wrong += person.barriers()
        person.size(PHONE)
        person.colors("dark")
        wrong += [f"dark, narrow: {what}" for what in person.barriers(only=OF_COLOR_AND_WIDTH)]
        person.colors("light")
        person.size(DESK)
    return wrong


def _walk(person: Visitor) -> tuple[set[str], list[str]]:
    """Follow links from where the person stands, one page of each kind; returns the kinds and what was wrong."""
    seen: set[str] = set()
    wrong: list[str] = []
    top = [person.page.url.removeprefix(person.site).split("?")[0], *person.navigation()]
    queue = [*top]
    while queue and len(seen) < MOST_PAGES:
        path = queue.pop(0)
        kind = pattern_of(path)
        if kind in seen or LEFT_OUT.search(path):
            continue
        seen.add(kind)
        response = person.open(path)
        if response is None or "text/html" not in response.headers.get("content-type", "text/html"):
            continue
        if response.status != 200:
            wrong.append(f"{path}: {response.status}")
            continue
        if not person.page.locator("h1").count():
            wrong.append(f"{path}: no heading")
        queue += [link for link in person.links() if pattern_of(link) not in seen]
        wrong += _look(person, with_axe=path == top[0] or kind not in JUDGED)
        JUDGED.add(kind)
    return seen, wrong


@pytest.mark.parametrize("name", PEOPLE)
def test_every_page_in_reach(site: Site, browser: Browser, name: str) -> None:
    with visitor(browser, site.url) as person:
        person.sign_in(name, PASSWORD)
        assert person.navigation(), "no page in the top bar"
        seen, wrong = _walk(person)
        assert not wrong + person.wrong, "\n".join(wrong + person.wrong)
        assert len(seen) >= len(person.navigation())


def test_pages_before_signing_in(site: Site, browser: Browser) -> None:
    with visitor(browser, site.url) as person:
        person.open("/account/login/")
        seen, wrong = _walk(person)
        assert not wrong + person.wrong, "\n".join(wrong + person.wrong)
        assert "/account/login/" in seen


def test_crew_without_email_signs_in_by_tag_and_pin(site: Site, browser: Browser) -> None:
    told = re.search(r"(\S+/t/\S+)  and types the PIN (\S+)", site.printed)
    assert told, site.printed
    with visitor(browser, site.url, size=PHONE) as person:
        person.sign_in_by_tag(*told.groups())
        assert person.navigation()
        assert not person.wrong, "\n".join(person.wrong)


@pytest.mark.parametrize("name", ["north.boss", "quarry.owner", "portal.admin"])
def test_navigation_works_without_scripts(site: Site, browser: Browser, name: str) -> None:
    with visitor(browser, site.url, scripts=False, size=PHONE) as person:
        person.sign_in(name, PASSWORD)
        pages = person.navigation()
        assert pages
        for path in pages:
            assert person.open(path).status == 200, path
            assert person.page.locator("h1").is_visible(), path
            assert not person.sideways(), path
            for form in person.page.locator("main form:visible").all():
                sends = form.locator("button:not([type=button]), input[type=submit]")
                outside = form.get_attribute("id")
                assert sends.count() or person.page.locator(f"button[form='{outside}']").count(), (
                    f"{path}: a form that only a script can send: {form.evaluate('f => f.outerHTML')[:200]}"
                )
        assert not person.wrong, "\n".join(person.wrong)
