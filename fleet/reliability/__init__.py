"""Statistics of the fleet: lifetimes, repairs and the decisions that rest on them. Pure numpy and scipy."""

from fleet.reliability.comparisons import compare_repairs
from fleet.reliability.curves import kaplan_meier, mean_cumulative_function, nelson_aalen
from fleet.reliability.intervals import ServiceInterval, service_interval
from fleet.reliability.lifetimes import Lifetimes
from fleet.reliability.looks import turnbull
from fleet.reliability.misuse import ExcessFailures, excess_failures
from fleet.reliability.newton import WeibullPrior
from fleet.reliability.pooling import PooledFit, pool_models
from fleet.reliability.renewal import age_replacement, failure_finding_interval, renewal_function
from fleet.reliability.repairs import fit_power_law
from fleet.reliability.replacement import keep_or_replace, replacement_ages
from fleet.reliability.screens import LookInterval, look_interval
from fleet.reliability.trends import trend_test
from fleet.reliability.usage import project_hours
from fleet.reliability.vibration import daily_vibration
from fleet.reliability.weibull import WeibullFit, fit_weibull

__all__ = [
    "ExcessFailures",
    "Lifetimes",
    "LookInterval",
    "PooledFit",
    "ServiceInterval",
    "WeibullFit",
    "WeibullPrior",
    "age_replacement",
    "compare_repairs",
    "daily_vibration",
    "excess_failures",
    "failure_finding_interval",
    "fit_power_law",
    "fit_weibull",
    "kaplan_meier",
    "keep_or_replace",
    "look_interval",
    "mean_cumulative_function",
    "nelson_aalen",
    "pool_models",
    "project_hours",
    "renewal_function",
    "replacement_ages",
    "service_interval",
    "trend_test",
    "turnbull",
]
