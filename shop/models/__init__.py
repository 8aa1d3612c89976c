"""Database models of the bench by topic; import them from here."""

from shop.models.calendar import Bench, BenchDay, ClosedDays, StandardMinutes, Technician
from shop.models.check_in import BenchPhoto, CheckIn
from shop.models.checks import CheckAnswer, CheckRun
from shop.models.claims import ClaimStep, WarrantyClaim
from shop.models.estimates import Estimate, EstimateAddress, EstimateAnswer
from shop.models.plans import Placement, SeasonPlan
from shop.models.sheet import MeasureFigure, QuickVerdict, SheetAnswer, SheetEntry
from shop.models.visits import DropOff, DropOffLine, FeedAddress, LineJob, VisitEvent, VisitMail

__all__ = [
    "Bench",
    "BenchDay",
    "BenchPhoto",
    "CheckAnswer",
    "CheckIn",
    "CheckRun",
    "ClaimStep",
    "ClosedDays",
    "DropOff",
    "DropOffLine",
    "Estimate",
    "EstimateAddress",
    "EstimateAnswer",
    "FeedAddress",
    "LineJob",
    "MeasureFigure",
    "Placement",
    "QuickVerdict",
    "SeasonPlan",
    "SheetAnswer",
    "SheetEntry",
    "StandardMinutes",
    "Technician",
    "VisitEvent",
    "VisitMail",
    "WarrantyClaim",
]
