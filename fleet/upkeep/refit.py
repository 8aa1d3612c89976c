"""Learning from all fleets together: put the samples of every contractor together, fit, choose intervals, keep."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from operator import itemgetter

import numpy as np

from fleet.models import Contractor, FitSnapshot, FleetSample, Trimmer
from fleet.side_by_side import side_by_side
from fleet.upkeep.event_costs import JobCosts, read_job_costs
from fleet.upkeep.fit_records import Curve, FitRecord, IntervalRecord
from fleet.upkeep.fit_store import add_fits, fits_in_force, latest_fits, read_intervals
from fleet.upkeep.fits import fit_component, fit_records
from fleet.upkeep.histories import COMPONENT_CODE
from fleet.upkeep.interval_choice import LOOKS, SCREENS, choose_intervals
from fleet.upkeep.interval_settings import LEARNED_TASKS, Setting, settings_of
from fleet.upkeep.intervals import Catalog
from fleet.upkeep.model_repairs import ModelPair, model_repairs, models_compared
from fleet.upkeep.sample_packs import Samples, models_in, unpack
from fleet.upkeep.samples import PORT

# Goes up when fits of the same rows come out differently, so that the next scan learns anew.
METHOD = 4
_WEAR = [COMPONENT_CODE[component] for task, component in LEARNED_TASKS.items() if task not in (*LOOKS, *SCREENS)]
# Every component, and the port; those whose wear is studied first: they take longest.
_STREAMS = sorted((*COMPONENT_CODE.values(), PORT), key=lambda stream: (stream not in _WEAR, stream))


@dataclass(frozen=True)
class Packed:
    """One contractor's packed rows and their digest."""

    contractor: int
    rows: bytes
    content_key: str


@dataclass(frozen=True)
class Refit:
    """What came of learning: the snapshot, and whose intervals moved by it, as (contractor, model).

    They moved against the learning that every flag was last brought up to: where that was cut short, those moved by
    the learnings in between are among them.
    """

    snapshot: FitSnapshot | None
    learned: bool
    moved: frozenset[tuple[int, int]] = frozenset()


def stored_packs() -> list[Packed]:
    """Every contractor's sample as its last scan left it, without the rows."""
    rows = FleetSample.objects.order_by("contractor").values_list("contractor_id", "content_key")
    return [Packed(pk, b"", key) for pk, key in rows]


def refit(*, as_of: dt.date, packs: Iterable[Packed] | None = None, processes: int = 1) -> Refit:
    """Learn from the stored samples, or from ``packs``; nothing where nothing went in that was not in before."""
    given = None if packs is None else sorted(packs, key=lambda p: p.contractor)
    known = stored_packs() if given is None else given
    before = latest_fits(as_of)
    pairs = _pairs([p.contractor for p in known])
    contractors = Contractor.objects.in_bulk([p.contractor for p in known])
    catalog = Catalog(pairs)
    settings = settings_of(pairs, catalog, contractors)
    key = _key(known, settings)
    models = {m for _c, m in pairs}
    in_force = fits_in_force()
    if not known:
        return Refit(before, False)
    if before is not None and before.content_key == key:
        if before.in_force_since is not None:
            return Refit(before, False)
        return Refit(before, False, _moved(settings, read_intervals(in_force, models), read_intervals(before, models)))
    rows = (
        ((p.contractor, p.rows) for p in given)
        if given is not None
        else FleetSample.objects.order_by("contractor").values_list("contractor_id", "rows")
    )
    samples = unpack((contractor, bytes(text)) for contractor, text in rows)
    costs = read_job_costs(as_of)
    learnt = _Learning(samples, settings, costs).whole(processes)
    old = read_intervals(in_force, models)
    data = {
        "costs": asdict(costs),
        "repairs": {str(model): asdict(curve) for model, curve in learnt.repairs.items()},
        "compared": [asdict(pair) for pair in learnt.compared],
    }
    snapshot = add_fits(as_of=as_of, content_key=key, data=data, fits=learnt.fits, intervals=learnt.intervals)
    return Refit(snapshot, True, _moved(settings, old, learnt.intervals))


@dataclass
class _Learnt:
    """What samples say, or a part of it."""

    fits: dict[tuple[int, str], FitRecord] = field(default_factory=dict)
    intervals: dict[tuple[int, str, str], IntervalRecord] = field(default_factory=dict)
    repairs: dict[int, Curve] = field(default_factory=dict)
    compared: list[ModelPair] = field(default_factory=list)


class _Learning:
    """The pure part: fits and intervals from samples, settings by (contractor, model, task), and costs.

    No component's fit says anything of another's, so they may be made side by side.
    """

    def __init__(self, samples: Samples, settings: Mapping[tuple[int, int, str], Setting], costs: JobCosts) -> None:
        self.samples, self.costs = samples, costs
        self.models = np.array(models_in(samples), dtype=np.int64)
        self.wanted = {(model, task, setting) for (_c, model, task), setting in settings.items()}
        self.usual = usual_settings(samples, settings)

    def whole(self, processes: int = 1) -> _Learnt:
        """Everything, in an order that does not depend on how the work was shared out."""
        if not len(self.models):
            return _Learnt()
        parts: list[Callable[[], _Learnt]] = [partial(self.component, stream) for stream in _STREAMS]
        parts += [lambda: _Learnt(repairs=model_repairs(self.samples))]
        parts += [lambda: _Learnt(compared=models_compared(self.samples))]
        whole = _Learnt()
        for _place, part in sorted(side_by_side(_call, parts, processes), key=itemgetter(0)):
            whole.fits |= part.fits
            whole.intervals |= part.intervals
            whole.repairs |= part.repairs
            whole.compared += part.compared
        whole.fits = dict(sorted(whole.fits.items()))
        whole.intervals = dict(sorted(whole.intervals.items()))
        return whole

    def component(self, stream: int) -> _Learnt:
        """One component (or the port): its fit over all models, and the intervals of its task."""
        fitted = {stream: fit_component(self.samples, stream, self.models)}
        intervals = choose_intervals(self.samples, fitted, self.wanted, self.costs)
        manuals = {key: (setting.manual_hours, setting.manual_source) for key, setting in self.usual.items()}
        records = fit_records(fitted, self.samples, manuals)
        for (model, component), record in records.items():
            setting = self.usual.get((model, record.task or ""))
            chosen = intervals.get((model, record.task or "", setting.digest)) if setting else None
            if setting is not None and chosen is not None:
                hours = chosen.at(0.0).interval_hours
                records[model, component] = replace(record, interval_hours=hours, setting=setting.digest)
        return _Learnt(records, intervals)


def _call(part: Callable[[], _Learnt]) -> _Learnt:
    return part()


def usual_settings(
    samples: Samples, settings: Mapping[tuple[int, int, str], Setting]
) -> dict[tuple[int, str], Setting]:
    """The setting most units of a model run under, by (model, task): what its record is shown for."""
    units = Counter(zip(samples["u_contractor"].tolist(), samples["u_model"].tolist(), strict=True))
    tally: dict[tuple[int, str], Counter] = {}
    by_digest: dict[str, Setting] = {}
    for (contractor, model, task), setting in settings.items():
        tally.setdefault((model, task), Counter())[setting.digest] += units[contractor, model]
        by_digest[setting.digest] = setting
    return {key: by_digest[max(sorted(found), key=lambda d: found[d])] for key, found in tally.items()}


def _pairs(contractors: list[int]) -> list[tuple[int, int]]:
    rows = Trimmer.objects.filter(contractor__in=contractors).values_list("contractor_id", "model_id")
    return sorted(rows.distinct().order_by())


def _key(packs: Iterable[Packed], settings: Mapping[tuple[int, int, str], Setting]) -> str:
    said = [str(METHOD), *(f"{p.contractor}:{p.content_key}" for p in packs)]
    said += sorted({f"{model}:{task}:{setting.digest}" for (_c, model, task), setting in settings.items()})
    return hashlib.sha256("|".join(said).encode()).hexdigest()


def _moved(
    settings: Mapping[tuple[int, int, str], Setting],
    old: Mapping[tuple[int, str, str], IntervalRecord],
    new: Mapping[tuple[int, str, str], IntervalRecord],
) -> frozenset[tuple[int, int]]:
    """Pairs of contractor and model with an interval, or its basis, that came out differently."""
    changed = {key for key, record in new.items() if not _alike(old.get(key), record)}
    return frozenset((c, m) for (c, m, task), setting in settings.items() if (m, task, setting.digest) in changed)


def _alike(old: IntervalRecord | None, new: IntervalRecord) -> bool:
    """Whether flags would come out the same at every exposure that occurs."""
    if old is None:
        return not new.pooled_failures
    if bool(old.pooled_failures) != bool(new.pooled_failures):
        return False
    steps = np.unique([c.exposure for c in (*old.choices, *new.choices)]).tolist()
    return all(
        (old.at(e).interval_hours, old.at(e).basis) == (new.at(e).interval_hours, new.at(e).basis) for e in steps
    )
