"""The days of a fleet, one after the other: running, breaking, servicing, walking, visiting the shop, leaving."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.columns import (
    AS_FOUND,
    COMPONENTS,
    FAILURE_DONE,
    RETIRED_WHY,
    SAFETY,
    SAFETY_COMPONENT,
    TASKS,
    YARD_TASKS,
)
from fleet.simulation.events import Columns, EventLog
from fleet.simulation.habits import SAFETY_OK, GuardState, walk_days
from fleet.simulation.parameters import Parameters
from fleet.simulation.prices import REPAIRS
from fleet.simulation.roster import NEVER, Roster, replacement_day
from fleet.simulation.services import ARRESTOR, COMPONENT_OF_TASK, ServicePlan
from fleet.simulation.usage import FRIDAY, Bools, Ints, SeasonCalendar, TrueUsage
from fleet.simulation.wear import RENEWED_BY, WearState

CREW, SHOP = 0, 1
REPAIRED, REPLACED, SCRAPPED = (FAILURE_DONE.index(word) for word in FAILURE_DONE)
SOLD, STOLEN, SCRAPPED_WHY, LOST = (RETIRED_WHY.index(word) for word in RETIRED_WHY)
LAY_UP, REVIEW, STOP_TASK = (TASKS.index(t) for t in ("lay_up", "review", "stop_switch"))
HEAD_TASK, HEAD = TASKS.index("head"), COMPONENTS.index("head")
EXHAUST, THROTTLE = COMPONENTS.index("exhaust"), COMPONENTS.index("throttle")
STOP_SWITCH, GUARD_PART = COMPONENTS.index("stop_switch"), COMPONENTS.index("guard")
FUEL_PARTS = [COMPONENTS.index("carburetor"), COMPONENTS.index("fuel")]
ENGINE_PARTS = [COMPONENTS.index("cylinder"), COMPONENTS.index("crank")]
SECOND_HAND_PARTS = [COMPONENTS.index(c) for c in ("gearbox", "clutch", "carburetor")]
WORN = AS_FOUND.index("worn")

YARD = np.isin(TASKS, YARD_TASKS)
# Safety codes in the order a walk would name them, with their components.
SAFETY_PARTS = np.array([COMPONENTS.index(SAFETY_COMPONENT[word]) for word in SAFETY[1:]])
_FIXED_IN_YARD = np.array([REPAIRS[c].yard for c in COMPONENTS])
_REPLACED_SHARE = np.array([REPAIRS[c].replaced_share for c in COMPONENTS])
# Hours into the season over which last year's fuel is still felt.
STALE_HOURS = 20.0
WORKING_DAYS = 185


@dataclass
class Visits:
    """What is arranged with the shop, by unit: day codes (NEVER for nothing) and what the visit is for."""

    day: Ints
    spring: Bools
    clean_screen: Bools
    yard_fix: Ints


class History:
    """Runs a fleet from the first day to the last. Call ``run`` once, then read what it left."""

    def __init__(
        self,
        parameters: Parameters,
        calendar: SeasonCalendar,
        roster: Roster,
        usage: TrueUsage,
        wear: WearState,
        rng: np.random.Generator,
    ) -> None:
        self.parameters, self.calendar, self.roster, self.usage, self.wear = parameters, calendar, roster, usage, wear
        self.rng = rng
        count, crews = roster.count, parameters.crews
        self.guards = GuardState(crews, roster.crew, rng)
        self.plan = ServicePlan(parameters, roster, wear, rng)
        self.walks = walk_days(calendar, [crew.guard for crew in crews], rng)
        self.log = EventLog()
        self.true_failures = Columns(("unit", "component", "day", "hours", "age", "since", "hidden", "guard_off"))
        self.total = roster.start_hours.copy()
        self.hours = np.zeros((calendar.days, count), dtype=np.float32)
        self.guard_off = np.zeros((calendar.days, count), dtype=bool)
        self.down_until = np.full(count, NEVER)
        self.visits = Visits(np.full(count, NEVER), np.zeros(count, bool), np.zeros(count, bool), np.full(count, NEVER))
        self.laid_up = np.zeros(count, dtype=bool)
        self.stale_left = np.zeros(count)
        self._ratio = np.array([parameters.guard_off_ratio.get(c, 1.0) for c in COMPONENTS])
        self._on_ground = np.isin(COMPONENTS, parameters.ground_components)
        self._ground = np.array([crew.ground for crew in crews])
        wear.age[:] = roster.start_hours[:, None]
        units = np.arange(count)
        self.plan.begin(units, np.maximum(roster.registered, 0), roster.start_hours > 0)
        self._autumn_review = np.array([crew.service.autumn_review for crew in crews])
        self._lay_up_jobs = np.array([crew.service.lay_up_jobs for crew in crews])
        self._draw_dated_visits()
        self._stage()

    def _draw_dated_visits(self) -> None:
        """Spring visits crowd around the opening, some come in winter; lay-ups around the close. (seasons, units)."""
        rng, calendar, roster = self.rng, self.calendar, self.roster
        shape = (len(calendar.openings), roster.count)
        opening, closing = np.array(calendar.openings)[:, None], np.array(calendar.closings)[:, None]
        day = opening + np.round(rng.normal(-3, 8, shape)).astype(int)
        day = np.where(rng.random(shape) < 0.15, opening - rng.integers(15, 40, shape), day)
        visits = np.array([crew.service.spring_visit for crew in self.parameters.crews])[roster.crew]
        self._spring_day = np.where(rng.random(shape) < visits, self._weekday(day), NEVER)
        usual = rng.integers(-20, 9, roster.count)
        early = np.array([crew.service.lay_up_early for crew in self.parameters.crews])[roster.crew]
        day = closing + usual + rng.integers(-2, 3, shape) - early
        lays_up = np.array([crew.service.lay_up for crew in self.parameters.crews])[roster.crew]
        self._lay_up_day = np.where(rng.random(shape) < lays_up, self._weekday(day), NEVER)
        # Its own stream of chance: who reviews when moves nothing else.
        (own,) = rng.spawn(1)
        day = closing + own.integers(-50, -22, roster.count) + own.integers(-3, 4, shape)
        self._review_day = np.where(self._autumn_review[roster.crew], self._weekday(day), NEVER)

    def _stage(self) -> None:
        """Find the last walk of each unit whose stop switch is to be found dead at the end."""
        crews = self.parameters.crews
        self._dead_switch: dict[int, Ints] = {}
        self._bench_closed = np.zeros(self.roster.count, dtype=bool)
        for name, place in self.parameters.staged.no_stop:
            crew = next((c for c, known in enumerate(crews) if known.name == name), None)
            if crew is None or place >= crews[crew].units:
                continue
            unit = int(np.flatnonzero(self.roster.crew[: self.roster.places] == crew)[place])
            walk = int(np.flatnonzero(self.walks[:, crew])[-1])
            self._dead_switch.setdefault(walk, np.zeros(0, dtype=np.int64))
            self._dead_switch[walk] = np.append(self._dead_switch[walk], unit)
            # Still out working that week, so that the walk sees it.
            self._lay_up_day[-1, unit] = NEVER

    def _weekday(self, day: NDArray[np.integer]) -> Ints:
        """Move weekend days to the Monday after."""
        weekday = (day + self.calendar.start.weekday()) % 7
        return np.asarray(day + np.where(weekday > FRIDAY, 7 - weekday, 0), dtype=np.int64)

    def run(self) -> None:
        """All days, first to last. Nothing happens at weekends."""
        calendar = self.calendar
        for day in range(calendar.days):
            self.guard_off[day] = self.guards.off
            if day in calendar.openings:
                self._open_season(day)
            if calendar.weekday[day] > FRIDAY:
                continue
            crew = self.roster.crew_of[day].astype(np.int64)
            if calendar.working[day]:
                self._work(day, crew)
                self._walk(day, crew)
                if calendar.weekday[day] == FRIDAY:
                    self._yard_services(day, crew)
                self._vanish(day)
            self._visit(day, crew)
            self._lay_up(day, crew)
            self._review(day, crew)
            self._sell(day)

    # -- running and breaking

    def _open_season(self, day: int) -> None:
        """Lay-up ends; fuel that wintered in the tank is felt for some hours."""
        first = day == self.calendar.openings[0]
        wintered = self.roster.in_use(day) & (self.roster.registered < day - 60) & ~self.laid_up
        self.stale_left[:] = np.where(wintered & (not first), STALE_HOURS, 0.0)
        self.laid_up[:] = False

    def stress(self, crew: Ints) -> NDArray[np.float64]:
        """(units, components) factor on the hazard: guard off, the crew's ground, stale fuel."""
        stress = np.where(self.guards.off[:, None], self._ratio, 1.0)
        stress[:, self._on_ground] *= self._ground[crew][:, None]
        stress[:, FUEL_PARTS] *= np.where(self.stale_left > 0, self.parameters.stale_fuel_ratio, 1.0)[:, None]
        return stress

    def _work(self, day: int, crew: Ints) -> None:
        up = self.roster.in_use(day) & (self.down_until < day) & ~self.laid_up & (self.roster.registered < day)
        wanted = np.where(up, self.usage.daily[day], 0.0).astype(float)
        self.guards.step(crew, wanted > 0)
        self.guard_off[day] = self.guards.off
        run, broken = self.wear.step(wanted, self.stress(crew))
        self.total += run
        self.hours[day] = run
        if broken.unit.size:
            clock = RENEWED_BY[broken.component]
            age = self.wear.age[broken.unit, broken.component]
            self.true_failures.add(
                unit=broken.unit,
                component=broken.component,
                day=day,
                hours=self.total[broken.unit],
                age=age,
                since=np.where(clock >= 0, self.wear.since[broken.unit, np.maximum(clock, 0)], age),
                hidden=broken.hidden,
                guard_off=self.guards.off[broken.unit],
            )
            shown = ~broken.hidden
            self._break(day, broken.unit[shown], broken.component[shown])
        self.stale_left = np.maximum(self.stale_left - run, 0.0)

    def _break(self, day: int, unit: Ints, component: Ints) -> None:
        """A failure that stopped the job: mended in the yard or taken to the shop, or the end of the unit."""
        rng, count = self.rng, len(unit)
        if not count:
            return
        ends = np.isin(component, ENGINE_PARTS) & ~self.roster.keeps[unit]
        ends &= rng.random(count) < self.parameters.turnover.scrapped_at_engine_failure
        replaced = rng.random(count) < _REPLACED_SHARE[component]
        done = np.where(ends, SCRAPPED, np.where(replaced, REPLACED, REPAIRED))
        used = (done == REPLACED) & np.isin(component, SECOND_HAND_PARTS) & (rng.random(count) < 0.04)
        part_hours = np.where(used, np.round(rng.uniform(20, 120, count)), 0.0)
        yard = _FIXED_IN_YARD[component]
        busy = 2 if self.calendar.progress[day] < 0.15 else 0
        away = np.where(yard, rng.random(count) < 0.25, 1 + rng.poisson(1.5 + busy, count))
        back = np.minimum(self._weekday(day + away.astype(int)), self.calendar.days - 1)
        back -= np.maximum(self.calendar.weekday[back] - FRIDAY, 0)
        back = np.maximum(back, day)
        guard = np.where(yard, NEVER, self.guards.as_found(unit))
        self.log.failures.add(
            day=day, unit=unit, component=component, at_look=False, done=done, part_hours=part_hours,
            downtime=back - day, guard=guard, off=self.guards.off[unit], stale=self.stale_left[unit] > 0,
        )  # fmt: skip
        self.wear.renew_part(unit, component, replaced | ends, part_hours)
        self.guards.off[unit[component == GUARD_PART]] = False
        self.down_until[unit] = np.maximum(self.down_until[unit], back - 1)
        goes = ~yard & ~ends
        self.visits.day[unit[goes]] = np.maximum(back[goes], day)
        self.visits.clean_screen[unit[goes & (component == EXHAUST)]] = True
        self._retire(day, unit[ends], SCRAPPED_WHY)

    # -- looking after

    def _service(self, day: int, unit: Ints, task: Ints, crew: Ints, by: int) -> None:
        """Do rounds of tasks, and write what they found; a shop writes a failed part up as a failure too, or not."""
        if not len(unit):
            return
        found, done, event = self.plan.do(day, unit, task, crew[unit])
        written_up = event & (by == SHOP) & (self.rng.random(len(unit)) < 0.5)
        # The trigger is looked at together with the stop switch.
        trigger = (task == STOP_TASK) & self.wear.failed[unit, THROTTLE]
        found = np.where(trigger & ~event, WORN, found)
        self.log.services.add(
            day=day, unit=unit, task=task, as_found=found, done=done, by=by, priced=~written_up
        )  # fmt: skip
        stuck = unit[trigger]
        mended = np.where(trigger & ~written_up, THROTTLE, np.maximum(COMPONENT_OF_TASK[task], 0))
        writes = written_up | trigger
        self.log.failures.add(
            day=day, unit=unit[writes], component=mended[writes], at_look=True,
            done=np.where(done[writes] == 2, REPLACED, REPAIRED), part_hours=0.0, downtime=1,
            guard=self.guards.as_found(unit[writes]), off=self.guards.off[unit[writes]], stale=False,
        )  # fmt: skip
        self.wear.renew_part(stuck, np.full(len(stuck), THROTTLE), done[trigger] == 2)

    def _yard_services(self, day: int, crew: Ints) -> None:
        """Fridays in the yard: what has come round is done; bench jobs that have come round get a visit."""
        here = self.roster.in_use(day) & (self.roster.registered < day) & (self.down_until < day)
        here &= ~self.laid_up & (self.visits.yard_fix == NEVER)
        ready = self.plan.ready(day) & here[:, None]
        ready[:, LAY_UP] = False
        ready[:, REVIEW] &= ~self._autumn_review[crew]
        unit, task = np.nonzero(ready & (YARD | (np.arange(len(TASKS)) == REVIEW)))
        self._service(day, unit, task, crew, CREW)
        bench = (ready & ~YARD & (np.arange(len(TASKS)) != REVIEW)).any(axis=1)
        bench = np.flatnonzero(bench & (self.visits.day < day) & ~self._bench_closed)
        self.visits.day[bench] = self._weekday(day + self.rng.integers(3, 8, len(bench)))

    def _walk(self, day: int, crew: Ints) -> None:
        """Guard walks of the crews that walk today; what stops the unit from being used is arranged for."""
        fixed = np.flatnonzero((self.visits.yard_fix != NEVER) & (self.visits.yard_fix <= day))
        fixed = fixed[self.roster.in_use(day)[fixed]]
        self._service(day, fixed, np.full(len(fixed), HEAD_TASK), crew, CREW)
        self.visits.yard_fix[self.visits.yard_fix <= day] = NEVER
        if not self.walks[day].any():
            return
        there = self.roster.in_use(day) & (self.down_until < day) & ~self.laid_up & self.walks[day][crew]
        dead = self._dead_switch.get(day, np.zeros(0, dtype=np.int64))
        unit = np.flatnonzero(there & (self.roster.registered < day))
        unit = np.union1d(unit[self.guards.seen(crew[unit])], dead)
        guard, line = self.guards.look(unit, crew[unit])
        if dead.size:
            self._fail_switch(day, dead)
        noticed = self.wear.failed[unit][:, SAFETY_PARTS]
        noticed &= self.rng.random(noticed.shape) < self.parameters.walk_sensitivity
        noticed[np.isin(unit, dead), 0] = True
        safety = np.where(noticed.any(axis=1), 1 + noticed.argmax(axis=1), SAFETY_OK)
        self.log.guard.add(day=day, unit=unit, guard=guard, line=line, safety=safety, by=CREW)
        cracked = unit[(safety != SAFETY_OK) & (SAFETY_PARTS[safety - 1] == HEAD)]
        self.visits.yard_fix[cracked] = day + self.rng.integers(1, 4, len(cracked))
        bench = unit[(safety != SAFETY_OK) & (SAFETY_PARTS[safety - 1] != HEAD) & ~self._bench_closed[unit]]
        self.visits.day[bench] = self._weekday(day + self.rng.integers(2, 9, len(bench)))
        stands = bench[self.rng.random(len(bench)) < 0.8]
        self.down_until[stands] = self.visits.day[stands] - 1

    def _fail_switch(self, day: int, unit: Ints) -> None:
        """The staged end: these units' stop switches die on the day of the last walk and wait for the bench."""
        already = self.wear.failed[unit, STOP_SWITCH]
        fresh = unit[~already]
        self.true_failures.add(
            unit=fresh, component=STOP_SWITCH, day=day, hours=self.total[fresh], hidden=True,
            age=self.wear.age[fresh, STOP_SWITCH], since=self.wear.since[fresh, STOP_TASK],
            guard_off=self.guards.off[fresh],
        )  # fmt: skip
        self.wear.failed[unit, STOP_SWITCH] = True
        self.wear.life[unit, STOP_SWITCH] = np.inf
        self.visits.day[unit] = NEVER
        self._bench_closed[unit] = True
        self.down_until[unit] = self.calendar.days

    def _visit(self, day: int, crew: Ints) -> None:
        """Units at the shop today: what is due or nearly so, everything a safety look finds, guard back on."""
        roster = self.roster
        spring = (self._spring_day == day).any(axis=0) & (roster.registered < day - 3) & (roster.bought < day - 120)
        comes = (spring | (self.visits.day == day)) & roster.in_use(day) & (roster.registered < day)
        unit = np.flatnonzero(comes & ~self._bench_closed)
        if not unit.size:
            return
        ratio = self.plan.ratio(day)[unit]
        enough = np.where(spring[unit, None], 0.55, np.where(YARD, 0.85, 0.7))
        wanted = ratio >= enough
        wanted[:, LAY_UP] = False
        wanted[:, ARRESTOR] |= self.visits.clean_screen[unit]
        # Nothing leaves the bench with a safety check failed: looking at it is part of every visit.
        failed = self.wear.failed[unit]
        for column, component in enumerate(COMPONENT_OF_TASK):
            if component in SAFETY_PARTS:
                wanted[:, column] |= failed[:, component]
        wanted[:, STOP_TASK] |= failed[:, THROTTLE]
        row, task = np.nonzero(wanted)
        self._service(day, unit[row], task, crew, SHOP)
        guard, line = self.guards.look(unit, crew[unit], refits=0.95)
        seen = self.rng.random(len(unit)) < 0.8
        self.log.guard.add(day=day, unit=unit[seen], guard=guard[seen], line=line[seen], safety=SAFETY_OK, by=SHOP)
        self.visits.day[unit] = NEVER
        self.visits.clean_screen[unit] = False
        self.visits.yard_fix[unit] = NEVER

    def _lay_up(self, day: int, crew: Ints) -> None:
        """Fuel out, run dry, dated; and with it the yard jobs that would not last far into the next season."""
        due = (self._lay_up_day == day).any(axis=0) & ~self.laid_up & (self.down_until < day)
        unit = np.flatnonzero(due & self.roster.in_use(day) & (self.roster.registered < day - 20))
        self._service(day, unit, np.full(len(unit), LAY_UP), crew, CREW)
        row, task = np.nonzero(YARD & (self.plan.ratio(day)[unit] >= self._lay_up_jobs[crew[unit], None]))
        self._service(day, unit[row], task, crew, CREW)
        self.laid_up[unit] = True

    def _review(self, day: int, crew: Ints) -> None:
        """Before the close the owner goes through the units: keep, or replace with the pre-season order."""
        due = (self._review_day == day).any(axis=0) & (self.roster.registered < day - 20)
        unit = np.flatnonzero(due & self.roster.in_use(day))
        self._service(day, unit, np.full(len(unit), REVIEW), crew, CREW)

    # -- leaving

    def _retire(self, day: int, unit: Ints, why: int) -> None:
        """These units leave today; the reserve of each place is bought in its turn."""
        self.roster.retired[unit], self.roster.retired_why[unit] = day, why
        for gone, follower in zip(unit, self.roster.follower(unit), strict=True):
            arrives = replacement_day(self.calendar, int(self.roster.retired[gone]), self.rng)
            if follower == NEVER or arrives >= self.calendar.days:
                continue
            self.roster.registered[follower] = self.roster.bought[follower] = arrives
            self.guards.off[follower] = self.guards.damaged[follower] = False
            one = np.array([follower])
            self.plan.begin(one, np.array([arrives]), np.array([False]))

    def _vanish(self, day: int) -> None:
        """Thefts and losses, on working days."""
        turnover = self.parameters.turnover
        draw = self.rng.random(self.roster.count) * WORKING_DAYS
        exposed = self.roster.in_use(day) & (self.roster.registered < day) & ~self.roster.keeps
        self._retire(day, np.flatnonzero(exposed & (draw < turnover.stolen)), STOLEN)
        lost = exposed & (draw >= turnover.stolen) & (draw < turnover.stolen + turnover.lost)
        self._retire(day, np.flatnonzero(lost), LOST)

    def _sell(self, day: int) -> None:
        """A week after the season closes some of the older units are sold."""
        if day - 7 not in {int(self._weekday(np.array(code))) for code in self.calendar.closings}:
            return
        old = self.roster.in_use(day) & (self.roster.bought < day - 600) & ~self.roster.keeps
        sold = old & (self.rng.random(self.roster.count) < 2 * self.parameters.turnover.sold)
        self._retire(day, np.flatnonzero(sold), SOLD)
