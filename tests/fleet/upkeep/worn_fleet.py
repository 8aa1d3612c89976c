"""A small fleet of two contractors whose gearboxes die at half their maker's grease interval, through the writers."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from fleet.models import Contractor, Crew, Trimmer, TrimmerModel
from fleet.record.units import register_unit
from fleet.record.work import Broken, Work, record_failure, record_service
from fleet.record.writing import By
from tests.factories import make_model

TODAY = dt.date(2025, 9, 1)
REGISTERED = dt.date(2025, 4, 7)
CREW, SHOP = By(None), By(None, seen_as="shop")
# Hours since the last grease at which a gearbox fails, one after the other; served without fault where None.
LIVES = (22, 27, None, 31, 25, 19, None, 34)


@dataclass(frozen=True)
class WornFleet:
    contractors: list[Contractor]
    crews: list[Crew]
    units: list[Trimmer]
    model: TrimmerModel


def worn_fleet(units: int = 12, cycles: int = 4) -> WornFleet:
    """Nothing was learned of it yet. A scan finds a grease interval well below the maker's 50 hours."""
    contractors = [Contractor.objects.create(name=n) for n in ("Quarry Hill Grounds", "Millrace Estates")]
    crews = [
        Crew.objects.create(contractor=owner, name=name, name_key=name.lower())
        for owner, name in ((contractors[0], "North"), (contractors[0], "South"), (contractors[1], "Park"))
    ]
    model = make_model("Heron", grease=50)
    fleet = [_unit(i, crews[i % 3], model) for i in range(units)]
    for i, unit in enumerate(fleet):
        hours = 0
        for cycle in range(cycles):
            life = LIVES[(i + cycle * 3) % len(LIVES)]
            hours += 40 if life is None else life
            on = REGISTERED + dt.timedelta(days=30 * (cycle + 1))
            if life is None:
                work = Work(unit, "grease", on, "ok", "serviced", hours=Decimal(hours))
                record_service(work=work, by=SHOP, today=TODAY)
            else:
                broken = Broken(unit, "gearbox", on, done="repaired", hours=Decimal(hours), **COSTLY)
                record_failure(broken=broken, by=SHOP, today=TODAY)
    return WornFleet(contractors, crews, fleet, model)


COSTLY = {"minutes": Decimal(120), "parts_cost": Decimal(90), "downtime_days": Decimal(2)}


def _unit(i: int, crew: Crew, model: TrimmerModel) -> Trimmer:
    return register_unit(
        contractor=Contractor.objects.get(pk=crew.contractor_id), tag=f"QH-{i:02d}", model=model,
        registered_on=REGISTERED, by=CREW, today=TODAY, crew=crew,
    )  # fmt: skip
