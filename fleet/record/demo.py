"""Builds the demo: the invented scenario, taken in as files by the same way as anyone's spreadsheets, and scanned."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import (
    Arrangement,
    Contractor,
    DueFlag,
    ModelTerms,
    PurchasePaper,
    RecallNotice,
    Shop,
    TaskInterval,
    Trimmer,
    TrimmerModel,
    UnitPhoto,
    User,
)
from fleet.models.tenancy import all_tenants
from fleet.sections import demo_steps
from fleet.simulation.files import write_files
from fleet.simulation.fleet import simulate
from fleet.simulation.parameters import Parameters
from fleet.simulation.scenario import closing_their_seasons, demo_parameters
from fleet.upkeep.crew_cost_store import refresh_crew_costs
from fleet.upkeep.review_store import refresh_reviews
from fleet.upkeep.scan import scan

from .demo_people import ADMINISTRATOR, create_people
from .importing import files_in, import_files

SEED = 1

# Told (step, parts done, parts in all) as the work goes on.
Progress = Callable[[str, int, int], None]


class NotInvented(Exception):
    """The database holds somebody's own data; the demo stays away from it."""


@dataclass(frozen=True)
class Built:
    """What the demo holds."""

    units: int
    entries: int
    flags: int


def guard_own_data() -> None:
    """Raise where a contractor is not invented: the demo neither mixes with real data nor deletes any."""
    own = Contractor.objects.filter(invented=False).order_by("name").first()
    if own is not None:
        raise NotInvented(
            _("This database holds data that the demo did not make, of {name} for one. Nothing was changed.").format(
                name=own.name
            )
        )


def is_built() -> bool:
    """Whether a whole demo stands: people come last, so one that was broken off has none."""
    return Contractor.objects.exists() and User.objects.filter(username=ADMINISTRATOR).exists()


def build_demo(*, today: dt.date, progress: Progress, scale_to: int | None = None) -> Built:
    """Empty the database and build the demo in it, with three seasons up to ``today``.

    ``scale_to`` is a number of units for a smaller one. A build that is broken off leaves invented contractors only,
    and the next one starts over.
    """
    with all_tenants():
        guard_own_data()
        _clear()
        parameters = closing_their_seasons(demo_parameters(today))
        if scale_to:
            parameters = parameters.with_units(scale_to)
        progress(_("Simulating three seasons"), 0, 1)
        fleet = simulate(parameters, SEED)
        progress(_("Simulating three seasons"), 1, 1)
        shop = _create_parties(parameters, fleet.truth.start)
        entries = 0
        with tempfile.TemporaryDirectory() as folder:
            write_files(fleet.files, Path(folder))
            step = _("Importing its spreadsheets")
            plan = import_files(
                files_in(Path(folder)), today=today, progress=lambda done, total, _file: progress(step, done, total)
            )
        for part in plan.files:
            if part.table.bad:
                raise RuntimeError(f"The simulator wrote a row that the import refuses: {part.table.bad[0]}")
            entries += len(part.entries)
        _add_recalls(parameters)
        _give_the_shop_the_manuals(shop)
        with transaction.atomic():
            create_people(shop)
        contractors = list(Contractor.objects.order_by("name"))
        step = _("Scanning")
        scan(contractors, as_of=today, today=today, progress=lambda done, total: progress(step, done, total))
        refresh_crew_costs(contractors, today=today)
        refresh_reviews(contractors, today=today)
        for add in demo_steps():
            add(shop, today)
        return Built(Trimmer.objects.filter(retired_on__isnull=True).count(), entries, DueFlag.objects.count())


def _clear() -> None:
    for photo in UnitPhoto.objects.all():
        photo.picture.delete(save=False)
    for paper in PurchasePaper.objects.all():
        paper.picture.delete(save=False)
    call_command("flush", interactive=False, verbosity=0)


def _create_parties(parameters: Parameters, since: dt.date) -> Shop:
    """The shop and the contractors it has looked after from the start, marked invented before all else is known."""
    with transaction.atomic():
        shop = Shop.objects.create(name=parameters.shop, time_zone=parameters.contractors[0].time_zone)
        for invented in parameters.contractors:
            contractor = Contractor.objects.create(name=invented.name, time_zone=invented.time_zone, invented=True)
            Arrangement.objects.create(shop=shop, contractor=contractor, from_date=since)
    return shop


def _give_the_shop_the_manuals(shop: Shop) -> None:
    """The shop has read the same manuals as its first contractor, and keeps their figures in its catalog."""
    first = Contractor.objects.order_by("pk").first()
    kinds: tuple[Any, ...] = (ModelTerms, TaskInterval)
    for kind in kinds:
        rows = list(kind.objects.filter(contractor=first))
        for row in rows:
            row.pk, row.contractor, row.shop = None, None, shop
        kind.objects.bulk_create(rows)


def _add_recalls(parameters: Parameters) -> None:
    for notice in parameters.recalls:
        RecallNotice.objects.create(
            model=TrimmerModel.objects.get(maker=notice.maker, name=notice.model),
            serials="\n".join(notice.serials),
            text=notice.text,
            source=notice.source,
            issued_on=notice.issued_on,
        )
