"""Database models by topic; import them from here."""

from fleet.models.catalog import CatalogChange, ModelTerms, RecallNotice, TaskInterval, TrimmerModel
from fleet.models.costs import CrewCost, ReviewBasis, UnitReview
from fleet.models.decisions import FlagChange, Postponement, ReviewDecision
from fleet.models.fits import FitSnapshot, FleetSample, LearnedInterval, ModelFit
from fleet.models.forecasts import AppendOnlyError, Forecast
from fleet.models.imports import ImportRun
from fleet.models.ledger import (
    ENTRY_KINDS,
    Assignment,
    CrewHours,
    Entry,
    Failure,
    GuardCheck,
    HoursEntry,
    Retirement,
    Service,
    UnitEntry,
    Withdrawal,
)
from fleet.models.people import (
    CONTRACTOR_ROLES,
    SHOP_ROLES,
    Arrangement,
    Contractor,
    Crew,
    Invitation,
    Membership,
    Role,
    Shop,
    User,
)
from fleet.models.results import DueFlag, Snapshot, UnitState
from fleet.models.trimmers import Trimmer, UnitPhoto
from fleet.models.unit_papers import NoticeDone, PurchasePaper, UnitFactsFilled

__all__ = [
    "CONTRACTOR_ROLES",
    "ENTRY_KINDS",
    "SHOP_ROLES",
    "AppendOnlyError",
    "Arrangement",
    "Assignment",
    "CatalogChange",
    "Contractor",
    "Crew",
    "CrewCost",
    "CrewHours",
    "DueFlag",
    "Entry",
    "Failure",
    "FitSnapshot",
    "FlagChange",
    "FleetSample",
    "Forecast",
    "GuardCheck",
    "HoursEntry",
    "ImportRun",
    "Invitation",
    "LearnedInterval",
    "Membership",
    "ModelFit",
    "ModelTerms",
    "NoticeDone",
    "Postponement",
    "PurchasePaper",
    "RecallNotice",
    "Retirement",
    "ReviewBasis",
    "ReviewDecision",
    "Role",
    "Service",
    "Shop",
    "Snapshot",
    "TaskInterval",
    "Trimmer",
    "TrimmerModel",
    "UnitEntry",
    "UnitFactsFilled",
    "UnitPhoto",
    "UnitReview",
    "UnitState",
    "User",
    "Withdrawal",
]
