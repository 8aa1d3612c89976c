"""What repairs are to be expected of a model by its hours, and what they cost: learned once a night, kept as JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import gamma, norm, qmc

from fleet.models import Contractor
from fleet.reliability import fit_power_law
from fleet.upkeep.catalog import ModelSheet
from fleet.upkeep.histories import COMPONENT_CODE
from fleet.upkeep.repair_record import RepairRecord
from fleet.upkeep.warranty import months_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Fewer repairs than this say nothing about how they come with age.
LEAST_REPAIRS = 10
# Equally likely readings of the record, always the same ones.
DRAWS = 16
# Models differ from each other by about a third; a model's own repairs count against so many expected ones.
MODELS_ALIKE = 8.0
# The same for what a repair of the model costs.
COSTS_ALIKE = 5.0
# Share of the resale value that a repair on record takes: common practice, no source.
RESALE_LOSS = 0.05
# Before any repair is seen: log shape of how repairs come with hours, mean and spread. Common experience with small
# engines, no source: somewhat faster with age.
SHAPE_PRIOR = (float(np.log(1.3)), 0.3)
SEASONS = 8
# Bills of repairs scatter; they are taken as so many equally likely ones.
BILLS = 12
# A unit is given up at estimates from about this share of a new one's price: common practice, no source.
GIVEN_UP_AT = 0.5


@dataclass(frozen=True)
class ModelFacts:
    """A model at a contractor. ``covered`` is the share of each season's repairs that falls under warranty."""

    name: str
    price: float | None
    kept_each_season: float
    warranty_months: int | None
    covered: list[float]
    hours_per_season: float
    displacement: float | None
    units: int
    repairs: int
    factor: list[float]
    parts: float
    labor_hours: float


@dataclass(frozen=True)
class Basis:
    """All that advice on a unit needs beside the unit itself."""

    repairs: int
    units: int
    hours: float
    shape: list[float]
    scale: list[float]
    dispersion: float
    paid_share: float
    days_down: float
    service_parts_per_hour: float
    service_labor_per_hour: float
    labour_rate: float
    downtime_per_day: float
    discount_rate: float
    models: dict[int, ModelFacts]
    # Equally likely bills, as shares of the mean one.
    bill_shares: list[float] = field(default_factory=list)

    def expected(self, model: int, start: Floats, stop: Floats) -> Floats:
        """Repairs of an average unit of the model between hours, shape (draws, ...)."""
        shape = np.array(self.shape)[:, None]
        scale = np.array(self.scale)[:, None]
        mass = (np.atleast_1d(stop) / scale) ** shape - (np.atleast_1d(start) / scale) ** shape
        return mass * np.array(self.models[model].factor)[:, None]

    def only(self, kinds: set[int]) -> Basis:
        """The same with these models alone, for a question about one unit."""
        return replace(self, models={kind: facts for kind, facts in self.models.items() if kind in kinds})

    def as_data(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> Basis:
        models = {int(pk): ModelFacts(**facts) for pk, facts in data["models"].items()}
        return cls(**{**data, "models": models})


def basis_of(record: RepairRecord, contractor: Contractor) -> Basis | None:
    """Learn from the record; None where it holds too few repairs to say how they come with hours."""
    count = len(record.event_unit)
    if count < LEAST_REPAIRS:
        return None
    fit = fit_power_law(record.event_unit, record.event_hour, record.unit, record.entry, record.end, factors=True)
    if not fit.converged:
        return None
    kinds = np.unique(record.model)
    points = qmc.Sobol(2 + min(len(kinds), 60), scramble=True, rng=np.random.default_rng(7)).random(DRAWS)
    centre, root = _with_prior(np.log([fit.shape, fit.scale]), fit.covariance[:2, :2])
    theta = centre + norm.ppf(points[:, :2]) @ root.T
    mass = (record.end / fit.scale) ** fit.shape - (record.entry / fit.scale) ** fit.shape
    hours = float((record.end - record.entry).sum())
    within = int(record.covered.sum())
    keep = float(contractor.resale) ** (1 / 3)
    parts = _parts(record)
    costs = _costs(record, parts, kinds)
    models = {}
    for place, kind in enumerate(kinds.tolist()):
        own = int((record.event_model == kind).sum())
        expected = float(mass[record.model == kind].sum())
        u = points[:, 2 + place % 60]
        factor = gamma.ppf(u, MODELS_ALIKE + own, scale=1 / (MODELS_ALIKE + expected))
        models[kind] = _model(record, kind, own, factor, costs[kind], keep)
    return Basis(
        repairs=count,
        units=len(record.unit),
        hours=hours,
        shape=np.exp(theta[:, 0]).tolist(),
        scale=np.exp(theta[:, 1]).tolist(),
        dispersion=float(fit.dispersion),
        # Before any was seen, half of what could be claimed is paid.
        paid_share=(float(record.paid[record.covered].sum()) + 1) / (within + 2),
        days_down=float(record.days_down[~record.given_up].mean()) if not record.given_up.all() else 0.0,
        service_parts_per_hour=record.service_parts / hours,
        service_labor_per_hour=record.service_labor_hours / hours,
        labour_rate=float(contractor.labour_rate),
        downtime_per_day=0.0 if contractor.spare_on_trailer else float(contractor.downtime_per_day),
        discount_rate=float(contractor.discount_rate),
        models=models,
        bill_shares=_shares(parts + record.labor_hours * float(contractor.labour_rate)),
    )


def _with_prior(found: np.ndarray, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Center and root covariance of (log shape, log scale): a short record is not carried on unbridled."""
    precision = np.linalg.inv(covariance + 1e-12 * np.eye(2))
    prior = np.diag([SHAPE_PRIOR[1] ** -2, 0.0])
    both = np.linalg.inv(precision + prior)
    centre = both @ (precision @ found + prior @ np.array([SHAPE_PRIOR[0], 0.0]))
    return centre, np.linalg.cholesky(both + 1e-12 * np.eye(2))


def _parts(record: RepairRecord) -> Floats:
    """Parts of each repair. One that a unit was given up for got none, and would have been dear."""
    half = {}
    for kind, sheet in record.sheets.items():
        price = sheet.terms["price"].value
        half[kind] = 0.0 if price is None else GIVEN_UP_AT * float(price)
    at_least = np.array([half[kind] for kind in record.event_model.tolist()])
    return np.where(record.given_up, np.maximum(record.parts, at_least), record.parts)


def _shares(bills: Floats) -> list[float]:
    """The bills in order, in equal lots, each lot's mean as a share of the mean of all."""
    if bills.mean() <= 0:
        return []
    edges = np.linspace(0, len(bills), BILLS + 1)
    total = np.concatenate([[0.0], np.cumsum(np.sort(bills))])
    return (np.diff(np.interp(edges, np.arange(len(bills) + 1), total)) * BILLS / total[-1]).tolist()


def _costs(record: RepairRecord, bought: Floats, kinds: Ints) -> dict[int, tuple[float, float]]:
    """Parts and labor hours of a repair by model, drawn to the mean of all models where there are few."""
    parts, labor = float(bought.mean()), float(record.labor_hours.mean())
    found = {}
    for kind in kinds.tolist():
        mine = record.event_model == kind
        n = int(mine.sum())
        found[kind] = (
            (float(bought[mine].sum()) + COSTS_ALIKE * parts) / (n + COSTS_ALIKE),
            (float(record.labor_hours[mine].sum()) + COSTS_ALIKE * labor) / (n + COSTS_ALIKE),
        )
    return found


def _model(
    record: RepairRecord, kind: int, own: int, factor: Floats, cost: tuple[float, float], keep: float
) -> ModelFacts:
    sheet = record.sheets[kind]
    price, share = sheet.terms["price"].value, sheet.terms["resale_share_per_season"].value
    months = sheet.terms["warranty_months"].value
    size = sheet.terms["displacement_cc"].value
    running = [f.hours_ahead for f in record.facts if f.model == kind] or [f.hours_ahead for f in record.facts]
    return ModelFacts(
        name=str(sheet.model),
        price=None if price is None else float(price),
        kept_each_season=keep if share is None else float(share),
        warranty_months=None if months is None else int(months),
        covered=_covered(record, sheet),
        hours_per_season=float(np.mean(running)) if running else 0.0,
        displacement=None if size is None else float(size),
        units=sum(f.model == kind for f in record.facts),
        repairs=own,
        factor=factor.tolist(),
        parts=cost[0],
        labor_hours=cost[1],
    )


def _covered(record: RepairRecord, sheet: ModelSheet) -> list[float]:
    """Share of the repairs of each season of a unit's life that fall within the months of their part's warranty.

    A unit is bought as a season opens and works eight months of each year.
    """
    names = {code: name for name, code in COMPONENT_CODE.items()}
    codes, counts = np.unique(record.component, return_counts=True)
    share = np.zeros(SEASONS)
    for code, n in zip(codes.tolist(), counts.tolist(), strict=True):
        months = months_of(sheet, names[code]) or 0
        share += n * np.clip((months - 12.0 * np.arange(SEASONS)) / 8.0, 0.0, 1.0)
    return (share / counts.sum()).tolist()
