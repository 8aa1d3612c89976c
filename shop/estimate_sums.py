"""What an estimate comes to, and the words of its answer. Pure; sums in dollars, to the cent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext_lazy as _

from fleet.vocabulary import Label

YES, NO = "yes", "no"
ANSWERS: dict[str, Label] = {YES: _("yes"), NO: _("no")}
BY_ADDRESS, SIGNED_IN, TELEPHONE = "address", "signed_in", "telephone"
HOW_ANSWERED: dict[str, Label] = {
    BY_ADDRESS: _("by the address in the letter"),
    SIGNED_IN: _("signed in"),
    TELEPHONE: _("on the telephone"),
}
# Other work on the line: finished, told in an estimate before, or expected from its usual minutes.
DONE, ESTIMATED, EXPECTED = "done", "told", "expected"
_CENT = Decimal("0.01")


@dataclass(frozen=True)
class OtherWork:
    """One other job on the line: its minutes and what it comes to."""

    job: str
    minutes: int
    cost: Decimal
    how: str = EXPECTED


@dataclass(frozen=True)
class EstimateSum:
    """One repair and the line's other work."""

    minutes: int
    parts: Decimal
    rate: Decimal
    other: Sequence[OtherWork] = ()

    @property
    def labor(self) -> Decimal:
        return labor_of(self.minutes, self.rate)

    @property
    def total(self) -> Decimal:
        """Everything on the line: what the sum agreed at check-in is held against."""
        return self.labor + self.parts + sum((work.cost for work in self.other), Decimal(0))


def labor_of(minutes: int, rate: Decimal) -> Decimal:
    """Minutes at so much an hour.

    >>> labor_of(12, Decimal(75))
    Decimal('15.00')
    """
    return (rate * minutes / 60).quantize(_CENT)


def agreed_after(agreed: Decimal | None, total: Decimal) -> Decimal:
    """The sum that is OK to fix up to once the owner said yes: never less than agreed before."""
    return total if agreed is None else max(agreed, total)
