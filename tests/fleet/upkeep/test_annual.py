"""Things to do of the annual report: dates by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from fleet.upkeep import annual
from fleet.upkeep.annual import Facts, season_closes, to_dos
from fleet.upkeep.annual_words import to_do_sentence
from fleet.upkeep.free_repairs import FreeRepair

NOTHING = Facts(
    today=dt.date(2026, 12, 10),
    closes=dt.date(2026, 11, 30),
    next_opens=dt.date(2027, 3, 15),
    order_day=dt.date(2027, 1, 31),
    to_buy=0,
    undecided=0,
    look_closer=0,
    free=(),
    costing=(),
    more_hours=None,
)


def fault(on: str, until: str, *, mended: bool, doubt: str = "") -> FreeRepair:
    day = dt.date.fromisoformat
    return FreeRepair(1, "QH-01", "Wren", "starter", "", day(on), day(until), mended, 40.0, doubt, "S1")


def kinds(facts: Facts) -> list[tuple[str, str | None]]:
    return [(one.kind, None if one.by is None else one.by.isoformat()) for one in to_dos(facts)]


def test_nothing_asks_for_nothing():
    assert to_dos(NOTHING) == []


def test_claims_go_by_the_end_of_the_warranty_and_the_year_after_a_fault():
    free = [
        fault("2026-10-01", "2027-02-01", mended=False),
        fault("2026-10-02", "2027-01-05", mended=False),
        fault("2026-03-20", "2026-09-01", mended=True),
        fault("2026-03-01", "2026-09-01", mended=True, doubt="stale_fuel"),
    ]
    assert kinds(replace(NOTHING, free=free)) == [
        (annual.CLAIM_WAITING, "2027-01-05"), (annual.CLAIM_PAID, "2027-03-20"),
    ]  # fmt: skip
    # Where the warranty has run out meanwhile there is no day left to wait for.
    late = [fault("2026-10-01", "2026-11-01", mended=False)]
    assert kinds(replace(NOTHING, free=late)) == [(annual.CLAIM_WAITING, None)]


def test_orders_go_by_the_day_the_order_closes_else_by_the_opening():
    facts = replace(NOTHING, to_buy=5, undecided=3, look_closer=2)
    assert kinds(facts) == [(k, "2027-01-31") for k in (annual.DECIDE, annual.LOOK_CLOSER, annual.ORDER)]
    assert {day for _kind, day in kinds(replace(facts, order_day=None))} == {"2027-03-15"}


def test_lay_up_is_asked_for_while_the_season_runs_and_guards_before_the_next():
    running = replace(NOTHING, today=dt.date(2026, 11, 30), costing=["Verge"], more_hours=8400)
    assert kinds(running) == [
        (annual.LAY_UP, "2026-11-30"), (annual.GUARDS, "2027-03-15"), (annual.WALKS, "2027-03-15"),
    ]  # fmt: skip
    assert "8,400" in to_do_sentence(to_dos(running)[-1])
    assert all(to_do_sentence(one) for one in to_dos(running))


def test_a_season_may_close_in_the_next_year():
    assert season_closes(dt.date(2026, 3, 15), "11-30") == dt.date(2026, 11, 30)
    assert season_closes(dt.date(2026, 10, 1), "04-30") == dt.date(2027, 4, 30)
