"""Statistics of the fleet: lifetimes, repairs and the decisions that rest on them. Pure numpy and scipy."""

from fleet.reliability.lifetimes import Lifetimes
from fleet.reliability.newton import WeibullPrior
from fleet.reliability.weibull import WeibullFit, fit_weibull

__all__ = ["Lifetimes", "WeibullFit", "WeibullPrior", "fit_weibull"]
