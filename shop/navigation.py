"""Hangs the shop's pages into the top bar, the Ready list and the rows of units. Filled in once, at the start."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from fleet.sections import (
    NavigationItem,
    PageAction,
    RowAction,
    add_demo_step,
    add_navigation,
    add_page_action,
    add_row_action,
)
from fleet.vocabulary import BENCH
from shop.bench.demo import build_bench

PAGES = (
    NavigationItem(_("Bench week"), "bench_week", "work_bench", 2),
    NavigationItem(_("Check-in"), "check_in", "work_bench", 4),
    NavigationItem(_("Drop-offs"), "drop_offs", "see_drop_offs", 28),
)


def add_pages() -> None:
    """Called from ``ShopConfig.ready``."""
    for item in PAGES:
        add_navigation(item)
    add_page_action(PageAction("ready", _("Book a drop-off"), "drop_off_book", "book_drop_off"))
    add_row_action(RowAction(_("Book a drop-off"), "unit_book", "book_drop_off", frozenset({BENCH})))
    add_demo_step(build_bench)
