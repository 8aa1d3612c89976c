"""A registry that apps fill in ``ready()``: what stands in the navigation, and what rows of the Ready list offer.

It lets the shop hang its pages into the fleet's without the fleet importing it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.urls import reverse

from fleet.access import Access
from fleet.models import Shop
from fleet.vocabulary import Label


@dataclass(frozen=True)
class NavigationItem:
    """A link in the top bar for everyone who may do ``action``, unless their role is named in ``not_for``.

    For roles in ``seldom_for`` it stands under *More*, so that the bar takes one row.
    """

    label: Label
    url_name: str
    action: str
    order: int
    not_for: frozenset[str] = frozenset()
    seldom_for: frozenset[str] = frozenset()

    def seldom(self, access: Access) -> bool:
        """Whether the person's roles use the page now and then only."""
        return access.roles <= self.seldom_for


@dataclass(frozen=True)
class RowAction:
    """An offer on a unit's row: ``url_name`` takes the unit's id."""

    label: Label
    url_name: str
    action: str
    places: frozenset[str]


_navigation: list[NavigationItem] = []
_row_actions: list[RowAction] = []


def add_navigation(item: NavigationItem) -> None:
    """Add a link once; called from ``AppConfig.ready``."""
    if item not in _navigation:
        _navigation.append(item)
        _navigation.sort(key=lambda i: i.order)


def add_row_action(item: RowAction) -> None:
    """Add an offer on rows once; called from ``AppConfig.ready``."""
    if item not in _row_actions:
        _row_actions.append(item)


def navigation_for(access: Access) -> Iterator[tuple[NavigationItem, str]]:
    """Links this person may follow, in order, with their addresses."""
    for item in _navigation:
        if access.can(item.action) and not (access.roles <= item.not_for):
            yield item, reverse(item.url_name)


def row_actions_for(access: Access, place: str) -> list[RowAction]:
    """Offers on a row whose job is done in ``place``."""
    return [a for a in _row_actions if place in a.places and access.can(a.action)]


@dataclass(frozen=True)
class PageAction:
    """A big button on a page of the fleet's that another app offers, for example booking from the Ready list."""

    page: str
    label: Label
    url_name: str
    action: str
    not_for: frozenset[str] = frozenset()


_page_actions: list[PageAction] = []


def add_page_action(item: PageAction) -> None:
    """Add a button once; called from ``AppConfig.ready``."""
    if item not in _page_actions:
        _page_actions.append(item)


def page_actions_for(access: Access, page: str) -> list[tuple[Label, str]]:
    """Buttons this person is offered on a page, with their addresses."""
    return [
        (a.label, reverse(a.url_name))
        for a in _page_actions
        if a.page == page and access.can(a.action) and not (access.roles <= a.not_for)
    ]


# What an app adds to the demo once units, people and answers stand: called with the demo's shop and its day.
DemoStep = Callable[[Shop, dt.date], None]
_demo_steps: list[DemoStep] = []


def add_demo_step(step: DemoStep) -> None:
    """Add a step once; called from ``AppConfig.ready``."""
    if step not in _demo_steps:
        _demo_steps.append(step)


def demo_steps() -> list[DemoStep]:
    """Steps of the demo beyond the fleet's own, in the order they were added."""
    return list(_demo_steps)


@dataclass(frozen=True)
class UnitAction:
    """A button on a page about one unit that another app offers: ``url_name`` takes the unit's id."""

    page: str
    label: Label
    url_name: str
    action: str


_unit_actions: list[UnitAction] = []


def add_unit_action(item: UnitAction) -> None:
    """Add a button once; called from ``AppConfig.ready``."""
    if item not in _unit_actions:
        _unit_actions.append(item)


def unit_actions_for(access: Access, page: str, unit: int, contractor: int) -> list[tuple[Label, str]]:
    """Buttons this person is offered on a unit's page, with their addresses."""
    return [
        (a.label, reverse(a.url_name, args=[unit]))
        for a in _unit_actions
        if a.page == page and access.can(a.action, contractor)
    ]
