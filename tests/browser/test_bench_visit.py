"""A visit in a real browser: from the Ready list to picked up; a walk-in; and what the ledger holds afterwards."""

from __future__ import annotations

import re

from playwright.sync_api import Browser, Page

from tests.browser.conftest import Site
from tests.browser.visiting import PHONE, Visitor, visitor

PASSWORD = "invented-demo-data"
TABLET = (820, 1180)


def _no_trouble(person: Visitor) -> None:
    assert not person.wrong + person.refusals() + person.sideways(), "\n".join(person.wrong + person.refusals())


def _pick(page: Page) -> str:
    """Pick the first unit that has something for the bench and is free; returns its tag."""
    free = page.locator(".pick-unit:not(.off)").filter(has_text="Stop switch").first
    tag = free.locator("b").inner_text()
    free.locator("input").check()
    return tag


def _finish_jobs(page: Page) -> None:
    """Record every open job as found good; a fault as put right."""
    while page.locator(".sheet-job a.button.main").count():
        page.locator(".sheet-job a.button.main").first.click()
        for name in ("as_found", "done"):
            choices = page.locator(f"input[type=radio][name={name}]")
            if choices.count():
                choices.first.check()
        page.fill("input[name=minutes]", "7")
        page.locator("form.do-form button[type=submit]").click()
        page.wait_for_url(re.compile(r"/bench/lines/\d+/$"))


def _tap(page: Page, key: str, finding: str) -> None:
    with page.expect_response(lambda answer: "/sheet/save/" in answer.url):
        page.locator(f"#f-{key}-{finding}").check(force=True)
    page.wait_for_selector(f"#line-{key} .saved-at")


def _quick_look_and_sheet(bench: Visitor) -> None:
    """The complaint's quick look, then the sheet tap by tap, recorded once with its minutes."""
    page = bench.page
    page.get_by_role("link", name="Quick look").click()
    for key in ("fuel", "spark", "compression", "piston"):
        _tap(page, key, "good")
    assert "carry on" in page.locator("#sheet-answer").inner_text()
    _no_trouble(bench)
    page.get_by_role("button", name="Carry on").click()
    page.get_by_role("link", name="Bench work").click()
    page.get_by_role("link", name="Bench sheet").click()
    for key in ("stop_switch", "trigger", "fuel_filter"):
        _tap(page, key, "good")
    _tap(page, "fuel_line", "bad")
    with page.expect_response(lambda answer: "/sheet/save/" in answer.url):
        page.locator("#w-fuel_line-serviced").check(force=True)
    assert "8 of 34 lines looked at" in page.locator("#sheet-answer").inner_text()
    low = "els => els.filter(e => e.getBoundingClientRect().height < 43.5).map(e => e.outerHTML)"
    assert page.locator(".sheet .chip, .sheet .button:visible, .sheet .figure").evaluate_all(low) == []
    _no_trouble(bench)
    page.get_by_role("link", name="Record the sheet").click()
    _no_trouble(bench)
    page.get_by_role("button", name="Record").click()
    page.wait_for_url(re.compile(r"/bench/lines/\d+/$"))


def test_a_booked_visit_from_the_ready_list_to_picked_up(site: Site, browser: Browser) -> None:
    with visitor(browser, site.url, size=PHONE) as boss:
        boss.sign_in("west.boss", PASSWORD)
        page = boss.page
        boss.open("/")
        page.locator(".acts a", has_text="Book a drop-off").click()
        tag = _pick(page)
        page.get_by_role("button", name="See the days").click()
        _no_trouble(boss)
        page.locator(".day-choice input").first.check()
        page.get_by_role("button", name="Book this day").click()
        page.wait_for_url(re.compile(r"/drop-offs/\d+/$"))
        assert tag in page.locator("main").inner_text()
        _no_trouble(boss)

    with visitor(browser, site.url, size=TABLET) as bench:
        bench.sign_in("bench", PASSWORD)
        page = bench.page
        bench.open(f"/check-in/?tag={tag}")
        page.locator(".bench-line", has_text=tag).get_by_role("link", name="Check in").first.click()
        page.wait_for_url(re.compile(r"/bench/lines/\d+/check-in/$"))
        page.fill("textarea[name=complaint]", "Fuel drips from the tank")
        page.select_option("select[name=symptom]", "fuel_leak")
        page.locator("input[name=guard][value=on]").check()
        page.fill("input[name=fix_up_to]", "80")
        page.get_by_role("button", name="Check in").click()
        page.wait_for_url(re.compile(r"/bench/lines/\d+/$"))
        assert f"{tag} is on hold: do not start" in page.locator("#messages").inner_text()
        _no_trouble(bench)
        sheet = page.url
        unit = page.locator("p.lead a[href^='/units/']").get_attribute("href")
        assert unit
        _quick_look_and_sheet(bench)
        _finish_jobs(page)
        bench.open("/bench/today/")
        assert tag in page.locator("main").inner_text()
        bench.page.goto(sheet)
        page.get_by_role("button", name="Ready").click()
        page.wait_for_load_state()
        page.get_by_role("button", name="Picked up").click()
        page.wait_for_load_state()
        assert "Picked up" in page.locator("p.answer").inner_text()
        _no_trouble(bench)
        # The ledger holds what was recorded, and the hold that the counter raised is lifted by the repair.
        bench.open(unit)
        history = page.locator("ol.history").inner_text()
        assert "safety fuel leak" in history.lower()
        assert "fuel line and tank: leaks" in history.lower()
        assert "stop switch and trigger check" in history.lower()


def test_a_walk_in(site: Site, browser: Browser) -> None:
    with visitor(browser, site.url, size=PHONE) as bench:
        bench.sign_in("bench", PASSWORD)
        page = bench.page
        bench.open("/check-in/?tag=ME-")
        free = page.locator(".bench-line").filter(has_text="not booked").first
        tag = free.locator(".tag").inner_text()
        free.get_by_role("link", name="Check in").click()
        page.wait_for_url(re.compile(r"/units/\d+/walk-in/$"))
        page.select_option("select[name=symptom]", "no_start")
        page.fill("textarea[name=complaint]", "Stood all winter")
        page.get_by_role("button", name="Check in").click()
        page.wait_for_url(re.compile(r"/bench/lines/\d+/$"))
        sheet = page.locator("main").inner_text()
        assert "Will not start at all. Stood all winter" in sheet
        assert "Fault: fuel" in sheet
        _no_trouble(bench)
        bench.open("/bench/today/")
        assert tag in page.locator("main").inner_text()
        _no_trouble(bench)
