"""What following the advice costs beside the owner's usual rules, on worlds whose truth is known.

What the advice knows: every repair and every engine hour on record so far (as if all units carried meters), bills and
days down as written, price, resale and warranty of the model, and the contractor's own figures; it learns afresh each
winter by the code of the page. What it does not know: how parts wear, how units differ, what is to come. Resale in
these worlds falls with age and repairs as the portal assumes. Where it says *look closer* the owner goes by which
of the two costs less on average. Between winters he repairs while the shop's estimate is within the spend limit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from fleet.models import Contractor, TrimmerModel
from fleet.simulation.columns import COMPONENTS
from fleet.upkeep.catalog import TERMS, Figure, ModelSheet
from fleet.upkeep.repair_basis import RESALE_LOSS, basis_of
from fleet.upkeep.repair_record import RepairRecord, UnitFacts
from fleet.upkeep.review import KEEP, REPLACE, Reviewer
from fleet.vocabulary import COMPONENTS as LEDGER_COMPONENTS
from fleet.vocabulary import WARRANTY_GROUPS
from tests.fleet.upkeep.advice_world import IN_SEASON, KNOWN, Setting, World, draw_world, service_an_hour

MODEL = 1
#: An estimate below this share of the limit of last winter needs no second look.
SURELY = 0.5
_CODE = np.array([list(LEDGER_COMPONENTS).index(c) for c in COMPONENTS])


@dataclass
class Unit:
    """A unit as it stands: season and share of it at which it came, hours on it, next failure of its life."""

    number: int
    place: int
    season: int
    share: float
    hours: float
    watched_from: float
    next: int
    repairs: int = 0
    limit: float = 0.0

    def age(self, season: int, share: float) -> int:
        """Middles of seasons that it has seen, as the portal counts."""
        return season - self.season + (share >= 0.5) - (self.share >= 0.5)


@dataclass
class Fleet:
    """A contractor's units under one rule, their record and what they cost from season ``KNOWN`` on."""

    world: World
    units: list[Unit] = field(default_factory=list)
    gone: list[Unit] = field(default_factory=list)
    events: list[tuple[int, float, int, int, bool]] = field(default_factory=list)
    cost: float = 0.0
    season: int = 0
    second: set[int] = field(default_factory=set)
    reviewer: Reviewer | None = None

    def pay(self, amount: float, share: float) -> None:
        """Costs count from the first season of choice on, worth less the later they come."""
        if self.season >= KNOWN:
            self.cost += amount / (1 + self.world.setting.rate) ** (self.season - KNOWN + share * IN_SEASON)

    def resale(self, unit: Unit) -> float:
        """Of a working unit between seasons."""
        s = self.world.setting
        return s.price * s.resale ** unit.age(self.season, 0.0) * (1 - RESALE_LOSS) ** unit.repairs


class Rule:
    """An owner's rule. No rule pays more for a repair than a new unit costs."""

    def __init__(self, age: int | None = None, share_of_price: float = 1.0) -> None:
        self.age, self.share_of_price = age, share_of_price

    def winter(self, fleet: Fleet) -> None:
        """Whatever is worked out before a season."""

    def goes(self, fleet: Fleet, unit: Unit) -> bool:
        """Whether a working unit is sold before the season."""
        return self.age is not None and unit.age(fleet.season, 0.0) >= self.age

    def mends(self, fleet: Fleet, unit: Unit, share: float, estimate: float) -> bool:
        """Whether a broken unit is mended at the estimate."""
        return estimate <= self.share_of_price * fleet.world.setting.price


class Advised(Rule):
    """As the portal advises."""

    def winter(self, fleet: Fleet) -> None:
        record = record_of(fleet)
        basis = basis_of(record, contractor_of(fleet.world.setting))
        fleet.reviewer = None if basis is None else Reviewer(basis)

    def goes(self, fleet: Fleet, unit: Unit) -> bool:
        if fleet.reviewer is None:
            return False
        said = fleet.reviewer.unit(facts_of(fleet, unit, 0.0, waiting=0))
        unit.limit = said.spend_limit or 0.0
        if said.advice in (KEEP, REPLACE):
            return said.advice == REPLACE
        return (said.margin or 0.0) < 0

    def mends(self, fleet: Fleet, unit: Unit, share: float, estimate: float) -> bool:
        if fleet.reviewer is None:
            return estimate <= fleet.world.setting.price / 2
        if estimate <= SURELY * unit.limit:
            return True
        said = fleet.reviewer.unit(facts_of(fleet, unit, share, waiting=1))
        return estimate <= (said.spend_limit or 0.0)


#: The rules that the advice is held against.
RULES: dict[str, Callable[[], Rule]] = {
    "yearly": lambda: Rule(age=1),
    "at 3 seasons": lambda: Rule(age=3),
    "never": lambda: Rule(),
    "half price": lambda: Rule(share_of_price=0.5),
}


def costs(setting: Setting, seed: int, rules: dict[str, Callable[[], Rule]] | None = None) -> dict[str, float]:
    """Present cost a place of each rule, and of ``advice``, on one drawn world."""
    world = draw_world(setting, np.random.default_rng(seed))
    every = {"advice": Advised, **(RULES if rules is None else rules)}
    return {name: run(world, make()) for name, make in every.items()}


def run(world: World, rule: Rule) -> float:
    """Present cost a place. Until the rule begins, all fleets were kept by the half-price rule."""
    fleet = Fleet(world)
    setting = world.setting
    for place, age in enumerate(world.first_age.tolist()):
        _buy(fleet, place, 0.0, hours=age * float(world.usual[place]), seasons=age)
    before = RULES["half price"]()
    for season in range(world.seasons):
        fleet.season = season
        fleet.second.clear()
        if season >= KNOWN:
            rule.winter(fleet)
            for unit in list(fleet.units):
                if rule.goes(fleet, unit):
                    fleet.pay(setting.price - fleet.resale(unit), 0.0)
                    _swap(fleet, unit, 0.0)
        for unit in list(fleet.units):
            _season(fleet, unit, rule if season >= KNOWN else before)
    fleet.season = world.seasons
    for unit in fleet.units:
        fleet.pay(-fleet.resale(unit), 0.0)
    return fleet.cost / setting.places


def _season(fleet: Fleet, unit: Unit, rule: Rule) -> None:
    world, setting, lives = fleet.world, fleet.world.setting, fleet.world.lives
    whole = float(world.hours[unit.place, fleet.season])
    parts, labor = service_an_hour(setting)
    fleet.pay(whole * (parts + labor * setting.labor), 0.0)
    share = 0.0
    while True:
        last = unit.next >= lives.first[unit.number + 1]
        ahead = np.inf if last else lives.hour[unit.next] - unit.hours
        if ahead > whole * (1 - share):
            unit.hours += whole * (1 - share)
            return
        share = min(share + ahead / whole, 1.0)
        failure = unit.next
        unit.hours, unit.next = float(lives.hour[failure]), failure + 1
        months = 12 * (fleet.season - unit.season) + 12 * IN_SEASON * (share - unit.share)
        paid = months < setting.warranty and bool(lives.claimed[failure])
        bill = 0.0 if paid else float(lives.parts[failure] + lives.labor[failure] * setting.labor)
        unit.repairs += 1
        mended = rule.mends(fleet, unit, share, bill)
        fleet.events.append((unit.number, unit.hours, failure, int(mended), months < setting.warranty))
        if mended:
            fleet.pay(bill + float(lives.days[failure]) * setting.down, share)
            continue
        # A new one is there the same day; the broken one brings nothing.
        fleet.pay(setting.price, share)
        unit = _swap(fleet, unit, share)


def _swap(fleet: Fleet, unit: Unit, share: float) -> Unit:
    fleet.units.remove(unit)
    fleet.gone.append(unit)
    return _buy(fleet, unit.place, share)


def _buy(fleet: Fleet, place: int, share: float, hours: float = 0.0, seasons: int = 0) -> Unit:
    number = fleet.world.unit(place, fleet.season, share > 0 and place not in fleet.second)
    if share > 0:
        fleet.second.add(place)
    first = fleet.world.lives.first
    lived = fleet.world.lives.hour[first[number] : first[number + 1]]
    start = int(first[number] + np.searchsorted(lived, hours))
    unit = Unit(number, place, fleet.season - seasons, share, hours, hours, start)
    fleet.units.append(unit)
    return unit


def contractor_of(setting: Setting) -> Contractor:
    """His figures as the portal holds them."""
    return Contractor(
        name="Hollow Grounds",
        labour_rate=setting.labor,
        downtime_per_day=setting.day_down,
        spare_on_trailer=setting.spare,
        discount_rate=setting.rate,
    )


def facts_of(fleet: Fleet, unit: Unit, share: float, waiting: int) -> UnitFacts:
    past = fleet.world.hours[unit.place, : fleet.season]
    return UnitFacts(
        unit=unit.number,
        model=MODEL,
        crew=1,
        hours=unit.hours,
        watched_from=unit.watched_from,
        hours_ahead=float(past.mean()),
        age=unit.age(fleet.season, share),
        repairs=unit.repairs,
        waiting=waiting,
        bought=None,
    )


def record_of(fleet: Fleet) -> RepairRecord:
    """All that was written down by this winter."""
    lives, setting = fleet.world.lives, fleet.world.setting
    stood = [u for u in fleet.gone + fleet.units if u.hours > u.watched_from]
    number, hour, failure, mended, covered = (np.array(column) for column in zip(*fleet.events, strict=True))
    # A unit that was given up got no parts and no work.
    parts = np.where(mended == 1, lives.parts[failure], 0.0)
    labor = np.where(mended == 1, lives.labor[failure], 0.0)
    per_part, per_labor = service_an_hour(setting)
    run_hours = sum(u.hours - u.watched_from for u in stood)
    n = len(stood)
    none, money = np.zeros(0, dtype=np.int64), np.zeros(0)
    return RepairRecord(
        unit=np.array([u.number for u in stood]),
        model=np.full(n, MODEL),
        entry=np.array([u.watched_from for u in stood]),
        end=np.array([u.hours for u in stood]),
        event_unit=number,
        event_hour=hour,
        event_model=np.full(len(number), MODEL),
        event_day=none,
        event_bill=money,
        service_day=none,
        service_bill=money,
        parts=parts,
        labor_hours=labor,
        days_down=np.where(mended == 1, lives.days[failure], 0.0),
        given_up=mended == 0,
        covered=covered,
        paid=covered & lives.claimed[failure],
        component=_CODE[lives.component[failure]],
        service_parts=per_part * run_hours,
        service_labor_hours=per_labor * run_hours,
        facts=[facts_of(fleet, u, 0.0, 0) for u in fleet.units],
        sheets={MODEL: sheet_of(setting)},
    )


def sheet_of(setting: Setting) -> ModelSheet:
    """The model as the catalog holds it."""
    known = {
        "price": setting.price,
        "resale_share_per_season": setting.resale,
        "warranty_months": setting.warranty,
        "displacement_cc": 28.0,
    }
    terms = {name: Figure(known.get(name), given=name in known) for name in TERMS}
    model = TrimmerModel(maker="Ostrel", name="Heron")
    return ModelSheet(model, terms, {group: Figure() for group in WARRANTY_GROUPS}, ())
