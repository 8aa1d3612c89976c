"""Two models' repairs per unit beside each other, for one person, and whether the record tells them apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fleet.charts.curves import Steps
from fleet.upkeep.fit_records import Curve
from fleet.upkeep.fit_store import latest_fits
from fleet.upkeep.model_repairs import ModelPair
from fleet.upkeep.record_charts import repairs_steps
from fleet.upkeep.record_page import ModelPage
from fleet.upkeep.who_sees import sees_all

# Below this the record tells two models apart: the usual convention, no more.
APART = 0.05
# So many hours at which both are told.
ROWS = 6
# Hours are told in steps of this.
STEP = 50.0
# Past the hour that so many units of a model have reached its curve is a unit's or two, and is not told beside another.
STILL_WATCHED = 5


@dataclass(frozen=True)
class HourRow:
    """Mean repairs per unit by these hours with their limits, of the first and the second model."""

    hours: float
    first: tuple[float, float, float]
    second: tuple[float, float, float]


@dataclass(frozen=True)
class Comparison:
    """Both curves to the hours that enough units of both have reached; ``pair`` None where no test can be told."""

    first: ModelPage
    second: ModelPage
    steps: tuple[Steps, Steps]
    end: float
    rows: list[HourRow]
    pair: ModelPair | None

    @property
    def apart(self) -> bool:
        """Whether the record tells the two apart."""
        return self.pair is not None and self.pair.p_value < APART

    @property
    def units(self) -> tuple[int, int]:
        """Units compared, in the order of the page."""
        return self._ordered(self.pair.units) if self.pair else (0, 0)

    @property
    def repairs(self) -> tuple[int, int]:
        """Repairs compared, in the order of the page."""
        return self._ordered(self.pair.repairs) if self.pair else (0, 0)

    def _ordered(self, both: tuple[int, int]) -> tuple[int, int]:
        return both if self.pair and self.pair.first == self.first.model.pk else both[::-1]


def comparable(pages: Iterable[ModelPage]) -> list[ModelPage]:
    """Those whose curve may be shown and has something on it."""
    return [page for page in pages if page.repairs is not None and page.repairs.hours]


def compare(first: ModelPage, second: ModelPage, contractor_ids: Iterable[int]) -> Comparison:
    """The two beside each other for somebody who sees these contractors; one query."""
    whole = (repairs_steps(first.repairs), repairs_steps(second.repairs))
    end = min(_reached(page.repairs) for page in (first, second))
    steps = (whole[0].until(end), whole[1].until(end))
    return Comparison(first, second, steps, end, _rows(steps, end), _pair(first, second, contractor_ids))


def _reached(curve: Curve | None) -> float:
    """The last hour of a curve at which enough units were still watched; its last where there never were."""
    if curve is None:
        return 0.0
    hours = [float(h) for h in curve.hours if h is not None]
    enough = [h for h, n in zip(hours, curve.at_risk, strict=False) if n >= STILL_WATCHED]
    return max(enough, default=hours[-1])


def _rows(steps: tuple[Steps, Steps], end: float) -> list[HourRow]:
    top = end // STEP * STEP if end >= STEP else end
    apart = max(top / ROWS // STEP * STEP, STEP)
    hours = sorted({top, *(top - apart * k for k in range(ROWS) if top - apart * k > 0)})
    nothing = (0.0, 0.0, 0.0)
    return [HourRow(h, steps[0].at(h) or nothing, steps[1].at(h) or nothing) for h in hours if h > 0]


def _pair(first: ModelPage, second: ModelPage, contractor_ids: Iterable[int]) -> ModelPair | None:
    snapshot = latest_fits()
    kept = [] if snapshot is None else snapshot.data.get("compared", [])
    both = {first.model.pk, second.model.pk}
    pair = next((ModelPair.from_data(data) for data in kept if {data["first"], data["second"]} == both), None)
    return pair if pair is not None and sees_all(pair.fleets, contractor_ids) else None
