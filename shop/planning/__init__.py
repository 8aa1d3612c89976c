"""Who brings what on which day: the bench plan, pure (numpy and scipy), no Django."""

from shop.planning.plan import plan_dropoffs
from shop.planning.terms import (
    BenchDay,
    BenchPlan,
    Booked,
    Crew,
    DayLoad,
    DueUnit,
    Placed,
    PlanCosts,
    PlanTerms,
    Unplaced,
    YardMorning,
)

__all__ = [
    "BenchDay",
    "BenchPlan",
    "Booked",
    "Crew",
    "DayLoad",
    "DueUnit",
    "Placed",
    "PlanCosts",
    "PlanTerms",
    "Unplaced",
    "YardMorning",
    "plan_dropoffs",
]
