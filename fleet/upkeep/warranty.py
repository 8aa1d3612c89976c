"""Until when each part of a unit is under its maker's warranty, and what voids it as found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from fleet.models import Contractor, TrimmerModel
from fleet.upkeep.catalog import CONTRACTOR, Holder, ModelSheet, model_sheets
from fleet.upkeep.days import NO_DAY, add_months, date_of, day_of
from fleet.upkeep.histories import COMPONENT_CODE
from fleet.upkeep.spending import CAUSE_CODE
from fleet.vocabulary import WARRANTY_GROUPS

Ints = NDArray[np.int64]

# Causes that makers' terms usually leave to the user: common practice, the terms of each maker decide.
MISUSE_CAUSES = ("stale_fuel", "water", "no_oil", "overload", "dirt", "dropped")
MISUSE_CODES = np.array([CAUSE_CODE[cause] for cause in MISUSE_CAUSES])
GROUP_OF = {component: group for group, (_label, parts) in WARRANTY_GROUPS.items() for component in parts}


def sheets_of(contractor: Contractor, model_ids: Iterable[int]) -> dict[int, ModelSheet]:
    """What stands for each model at this contractor, in a constant number of queries."""
    models = TrimmerModel.objects.filter(pk__in={int(pk) for pk in model_ids})
    holder = Holder(CONTRACTOR, contractor.name, contractor_id=contractor.pk)
    return {sheet.model.pk: sheet for sheet in model_sheets(models, holder)}


def months_of(sheet: ModelSheet, component: str) -> int | None:
    """Months of warranty on a part; None where nobody entered any."""
    figure = sheet.groups[GROUP_OF[component]]
    value = figure.value if figure.given else sheet.terms["warranty_months"].value
    return None if value is None else int(value)


def covered_until(
    sheets: Mapping[int, ModelSheet], model: Ints, bought: Ints, component: NDArray[np.int16]
) -> NDArray[np.int64]:
    """Last day of warranty of each row's part (day numbers); 0 where the day bought or the months are not known."""
    names = {code: name for name, code in COMPONENT_CODE.items()}
    months: dict[tuple[int, int], int | None] = {}
    last_day: dict[tuple[int, int], int] = {}
    until = np.zeros(len(model), dtype=np.int64)
    for i, (kind, day, part) in enumerate(zip(model.tolist(), bought.tolist(), component.tolist(), strict=True)):
        if (kind, part) not in months:
            months[kind, part] = months_of(sheets[kind], names[part])
        term = months[kind, part]
        if term is None or day == NO_DAY:
            continue
        if (day, term) not in last_day:
            last_day[day, term] = day_of(add_months(date_of(day), term)) - 1
        until[i] = last_day[day, term]
    return until
