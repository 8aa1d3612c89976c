"""Repairs that a maker has been asked to pay for. Whoever keeps the claims hangs itself in here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from fleet.vocabulary import Label


@dataclass(frozen=True)
class Claimed:
    """One claim: the fault as the ledger holds it now, its unit, the part, and where the claim stands in words."""

    failure: int
    unit: int
    tag: str
    component: str
    words: Label
    on: dt.date


_KEEPERS: list[Callable[[int], list[Claimed]]] = []


def add_claims(keeper: Callable[[int], list[Claimed]]) -> None:
    """Ask ``keeper`` for the claims of a contractor from now on."""
    if keeper not in _KEEPERS:
        _KEEPERS.append(keeper)


def claims_of(contractor_id: int) -> list[Claimed]:
    """Claims on this contractor's units, newest first; one query a keeper, or few."""
    found = [claim for keeper in _KEEPERS for claim in keeper(contractor_id)]
    return sorted(found, key=lambda claim: (claim.on, claim.failure), reverse=True)
