"""One person's browser: signs in, opens pages, and remembers everything that went wrong on the way."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Literal
from urllib.parse import urljoin, urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, ConsoleMessage, Error, Page, Response

from fleet.models import ENTRY_KINDS
from fleet.vocabulary import TASK_KEYS

PHONE, DESK, NARROW = (390, 844), (1280, 900), (320, 640)

# Parts of an address that say which one, not what kind of page.
_NAMES_ONE = re.compile("|".join([r"\d+", r"[\w-]{20,}", *TASK_KEYS, *ENTRY_KINDS]))

# What the content policy refused, told by the browser itself.
_WATCH_POLICY = """
window.refusedByPolicy = [];
document.addEventListener("securitypolicyviolation", e => window.refusedByPolicy.push(
  `${e.violatedDirective}: ${e.blockedURI || e.sample || "inline"} (${e.sourceFile || document.location})`));
"""
_WIDER_THAN_SCREEN = """() => {
  const wide = document.documentElement.scrollWidth, room = document.documentElement.clientWidth;
  if (wide <= room) return [];
  return [...document.querySelectorAll("body *")]
    .filter(e => e.getBoundingClientRect().right > room + 1 && !e.closest("details:not([open]) > :not(summary)"))
    .slice(0, 5).map(e => `${e.tagName.toLowerCase()}.${e.getAttribute("class") || ""} to ${
      Math.round(e.getBoundingClientRect().right)} px of ${room}`).concat(`page ${wide} px wide`);
}"""


@dataclass
class Visitor:
    """A signed-in (or not yet signed-in) person. ``wrong`` gathers console errors and refusals, page by page."""

    page: Page
    site: str
    scripts: bool = True
    wrong: list[str] = field(default_factory=list)

    def watch(self) -> None:
        """Start to listen for what goes wrong."""
        self.page.on("console", self._on_console)
        self.page.on("pageerror", lambda error: self.wrong.append(f"{self.page.url}: {error}"))
        self.page.on("response", self._on_response)
        if self.scripts:
            self.page.add_init_script(_WATCH_POLICY)

    def _on_console(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"}:
            where = message.location.get("url", "")
            self.wrong.append(f"{self.page.url}: console {message.type}: {message.text} ({where})")

    def _on_response(self, response: Response) -> None:
        if response.status >= 400:
            self.wrong.append(f"{self.page.url}: {response.status} for {response.url}")
        elif not response.url.startswith((self.site, "data:")):
            self.wrong.append(f"{self.page.url}: fetched {response.url}")

    def size(self, size: tuple[int, int]) -> None:
        self.page.set_viewport_size({"width": size[0], "height": size[1]})

    def open(self, path: str) -> Response | None:
        """Open a page and wait until it stands still; None where a file comes instead."""
        try:
            response = self.page.goto(urljoin(self.site, path), wait_until="load")
        except Error as error:
            if "Download is starting" not in str(error):
                raise
            return None
        assert response is not None, path
        return response

    def sign_in(self, name: str, password: str) -> None:
        """By name and password, through the form."""
        self.open("/account/login/")
        self.page.locator("input[name=login]").fill(name)
        self.page.locator("input[name=password]").fill(password)
        self.page.locator("main form button[type=submit]").first.click()
        self.page.wait_for_load_state("load")
        assert "/account/login" not in self.page.url, self.page.locator("main").inner_text()

    def sign_in_by_tag(self, address: str, pin: str) -> None:
        """By the address on a unit's tag and a PIN, as crews without e-mail do; typed, where nothing can scan it."""
        self.open("/account/login/")
        self.page.get_by_role("link", name=re.compile("PIN")).click()
        self.page.locator("main input[name=address]").fill(address)
        self.page.locator("main form button[type=submit]").first.click()
        self.page.locator("main input[name=pin]").fill(pin)
        self.page.locator("main form button[type=submit]").first.click()
        self.page.wait_for_url(re.compile(r"/units/\d+/"))

    def navigation(self) -> list[str]:
        """Paths of the pages in the top bar."""
        return self._paths("header nav a[href]")

    def links(self) -> list[str]:
        """Paths of links on this page that stay in the portal."""
        return self._paths("a[href]:not([download])")

    def _paths(self, selector: str) -> list[str]:
        targets = self.page.locator(selector).evaluate_all("all => all.map(link => link.getAttribute('href'))")
        addresses = [urlsplit(urljoin(self.page.url, target)) for target in targets]
        return list(dict.fromkeys(a.path for a in addresses if f"{a.scheme}://{a.netloc}" == self.site))

    def refusals(self) -> list[str]:
        """What the content policy of this page refused."""
        refused: list[str] = self.page.evaluate("() => window.refusedByPolicy || []")
        return [f"{self.page.url}: refused: {what}" for what in refused]

    def sideways(self) -> list[str]:
        """What makes this page scroll sideways."""
        found: list[str] = self.page.evaluate(_WIDER_THAN_SCREEN)
        width = (self.page.viewport_size or {"width": 0})["width"]
        return [f"{self.page.url} at {width} px: {what}" for what in found]

    def colors(self, scheme: Literal["light", "dark"]) -> None:
        """Ask for light or dark, and wait until the page is painted so."""
        self.page.emulate_media(color_scheme=scheme)
        if self.scripts:
            self.page.evaluate("() => new Promise(done => requestAnimationFrame(() => setTimeout(done, 50)))")

    def barriers(self, only: Sequence[str] = ()) -> list[str]:
        """What axe finds on this page, by all its rules or only by these."""
        asked: dict[str, Any] = {"resultTypes": ["violations"]}
        if only:
            asked["runOnly"] = {"type": "rule", "values": list(only)}
        # What a bar that stays at the edge covers depends on how far the page is scrolled: links pass under it.
        bars = ".acts, .sticky-save, .messages.stick"
        self.page.eval_on_selector_all(bars, "bars => bars.forEach(bar => (bar.style.position = 'static'))")
        result: dict[str, Any] = Axe().run(self.page, options=asked).response
        return [
            f"{self.page.url}: {v['id']}: {node['failureSummary']}: {node['html'][:200]}"
            for v in result["violations"]
            for node in v["nodes"][:2]
        ]


def pattern_of(path: str) -> str:
    """A path without its numbers, tokens and keys of the trade: one page of each kind is looked at."""
    return "/".join("#" if _NAMES_ONE.fullmatch(part) else part for part in path.split("/"))


@contextmanager
def visitor(browser: Browser, site: str, *, scripts: bool = True, size: tuple[int, int] = DESK) -> Iterator[Visitor]:
    """A fresh browser window, as of somebody who was never here."""
    context = browser.new_context(
        java_script_enabled=scripts, viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce"
    )
    context.set_default_timeout(15_000)
    person = Visitor(context.new_page(), site, scripts)
    person.watch()
    try:
        yield person
    finally:
        context.close()
