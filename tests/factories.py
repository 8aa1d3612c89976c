"""Makes what most tests of pages need, through the writers that pages use: shops, contractors, units, people.

All names are invented. Days are counted back from today, and the season is open all year, so that a test gives the
same answer on every day it is run.
"""

from __future__ import annotations

import datetime as dt
import io
import math
from decimal import Decimal
from itertools import count
from typing import TypeVar

from django.conf import settings as settings_module
from django.core.files.base import ContentFile
from django.utils import timezone
from PIL import Image

from fleet.models import (
    Arrangement,
    Contractor,
    Crew,
    Membership,
    NoticeDone,
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
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.hours import HoursLine, record_hours
from fleet.record.units import register_unit
from fleet.record.words import model_key, name_key
from fleet.record.work import Broken, Work, record_failure, record_service
from fleet.record.writing import By
from fleet.upkeep.fit_records import Curve, FitLine, FitRecord
from fleet.upkeep.fit_store import add_fits, latest_fits, read_fits
from fleet.upkeep.refresh import refresh_units
from shop.models import Bench, DropOff, DropOffLine, LineJob, Technician, VisitEvent
from shop.vocabulary import STANDING, practice_minutes

_numbers = count(1)
Picture = TypeVar("Picture", UnitPhoto, PurchasePaper)
BY = By(None, "import")


def days_ago(days: int, today: dt.date | None = None) -> dt.date:
    """A day in the past."""
    return (today or dt.date.today()) - dt.timedelta(days=days)


def make_shop(name: str = "Alder Street Small Engine") -> Shop:
    return Shop.objects.create(name=name)


def make_contractor(name: str = "Quarry Hill Grounds", shop: Shop | None = None, **settings: object) -> Contractor:
    """A contractor whose season is open all year, looked after by the shop where there is one."""
    settings = {"season_opens": "01-01", "season_closes": "12-31", "time_zone": settings_module.TIME_ZONE, **settings}
    contractor = Contractor.objects.create(name=name, **settings)
    if shop is not None:
        Arrangement.objects.create(shop=shop, contractor=contractor, from_date=days_ago(900))
    return contractor


def make_crew(contractor: Contractor, name: str = "North") -> Crew:
    with all_tenants():
        return Crew.objects.create(contractor=contractor, name=name, name_key=name_key(name))


def make_model(name: str = "Heron", maker: str = "Ostrel", **task_hours: float | None) -> TrimmerModel:
    """A model; ``grease=50`` gives the maker's interval of a task in hours, ``lay_up=None`` says it does not apply."""
    model, _new = TrimmerModel.objects.get_or_create(
        key=model_key(maker, name), defaults={"maker": maker, "name": name}
    )
    for task, hours in task_hours.items():
        given = None if hours is None else Decimal(str(hours))
        TaskInterval.objects.create(
            model=model, task=task, hours=given, hours_given=True, months=None, months_given=hours is None
        )
    return model


def make_unit(
    crew: Crew,
    tag: str | None = None,
    *,
    model: TrimmerModel | None = None,
    hours: float = 0,
    registered: int = 200,
    run: float | None = 60,
    **given: object,
) -> Trimmer:
    """A unit registered so many days ago; ``run`` is what its meter gained by a week ago (None: nothing logged)."""
    with all_tenants():
        contractor = Contractor.objects.get(pk=crew.contractor_id)
        unit = register_unit(
            contractor=contractor,
            tag=tag or f"QH-{next(_numbers):02d}",
            model=model or make_model(),
            registered_on=days_ago(registered),
            by=BY,
            today=dt.date.today(),
            crew=crew,
            hours_at_registration=Decimal(str(hours)),
            **given,  # type: ignore[arg-type]
        )
        if run is not None:
            log_meter(unit, hours + run, days=7)
        unit.refresh_from_db()
        return unit


def log_meter(unit: Trimmer, hours: float, days: int = 0) -> None:
    """The unit's meter read this, so many days ago."""
    with all_tenants():
        line = HoursLine(unit, days_ago(days), meter_hours=Decimal(str(hours)))
        record_hours(lines=[line], by=BY, today=dt.date.today(), confirmed=True)


def do_task(unit: Trimmer, task: str, *, days: int = 0, as_found: str = "ok", done: str = "serviced", **given):  # type: ignore[no-untyped-def]
    """A task done on the unit, so many days ago."""
    seen_as = given.pop("seen_as", "crew")
    with all_tenants():
        work = Work(unit, task, days_ago(days), as_found, done, **given)
        return record_service(work=work, by=By(None, "import", seen_as), today=dt.date.today())


def break_part(unit: Trimmer, component: str, *, days: int = 0, **more):  # type: ignore[no-untyped-def]
    """A part of the unit failed, so many days ago; repaired unless said otherwise."""
    more = {"done": "repaired", "cause": "wear", **more}
    with all_tenants():
        broken = Broken(unit, component, days_ago(days), **more)
        return record_failure(broken=broken, by=By(None, "import", "shop"), today=dt.date.today())


def see_guard(unit: Trimmer, guard: str = "", *, days: int = 0, line: str = "", safety: str = "") -> None:
    """What a guard walk saw of the unit, so many days ago."""
    with all_tenants():
        record_walk(seen=[Seen(unit, guard, line, safety)], on=days_ago(days), by=BY, today=dt.date.today())


def make_notice(model: TrimmerModel, serials: str = "") -> RecallNotice:
    return RecallNotice.objects.create(
        model=model,
        serials=serials,
        text="Invented notice: the fuel cap may leak. Take the unit to a dealer.",
        source="Ostrel safety notice (invented)",
        issued_on=days_ago(30),
    )


def make_notice_done(unit: Trimmer) -> NoticeDone:
    with all_tenants():
        notice = make_notice(unit.model)
        return NoticeDone.objects.create(
            contractor_id=unit.contractor_id, trimmer=unit, notice=notice, occurred_on=days_ago(1)
        )


def make_fit(component: str = "gearbox", **given: object) -> FitRecord:
    """A component's record as a scan keeps it: a Weibull of shape 2 and scale 60 h, from three contractors' units."""
    hours = tuple(float(h) for h in range(0, 51, 5))
    share = [1 - math.exp(-((h / 60) ** 2)) for h in hours]
    usual: dict[str, object] = {
        "clock": "task", "events": 14, "rows": 210, "hours": 9300.0, "units": 40, "contractors": 3, "pooled_events": 61,
        "shape": 2.0, "shape_low": 1.5, "shape_high": 2.7, "scale": 60.0, "scale_low": 48.0, "scale_high": 79.0,
        "drawn": 0.22, "b10_hours": 19.5, "b10_low": 14.0, "b10_high": 26.0, "mean_hours": 53.2,
        "guard_off_ratio": 2.1, "guard_off_low": 1.2, "guard_off_high": 3.6, "mean_exposure": 0.18,
        "curve": Curve("kaplan_meier", (5.0, 20.0, 40.0), (0.99, 0.9, 0.65), (0.94, 0.8, 0.5), (1.0, 0.96, 0.8)),
        "fit": FitLine(hours, *(tuple(1 - k * s for s in share) for k in (1.0, 1.2, 0.8))),
        "repairs": Curve("mean_repairs", (100.0, 300.0), (0.1, 0.35), (0.04, 0.2), (0.2, 0.6), (40, 20)),
        "task": "grease", "manual_hours": 25.0, "manual_source": "maker", "interval_hours": 18.0,
    }  # fmt: skip
    return FitRecord(component=component, **{**usual, **given})  # type: ignore[arg-type]


def make_record(model: TrimmerModel, *fits: FitRecord) -> None:
    """What a scan would have learned of the model, as of today, beside what was learned of others before."""
    others = {key: fit for key, fit in read_fits(latest_fits()).items() if key[0] != model.pk}
    kept = others | {(model.pk, fit.component): fit for fit in fits or (make_fit(),)}
    add_fits(as_of=dt.date.today(), content_key="made for a test", data={}, fits=kept, intervals={})


def make_photo(unit: Trimmer, caption: str = "") -> UnitPhoto:
    """A picture of a unit."""
    return _kept(UnitPhoto(contractor_id=unit.contractor_id, trimmer=unit, caption=caption), (1600, 1200))


def make_purchase_paper(unit: Trimmer, caption: str = "receipt") -> PurchasePaper:
    """A receipt as a picture, its size that of one kept."""
    return _kept(PurchasePaper(contractor_id=unit.contractor_id, trimmer=unit, caption=caption), (1700, 2200))


def _kept(row: Picture, size: tuple[int, int]) -> Picture:
    content = io.BytesIO()
    Image.new("RGB", size, (180, 170, 160)).save(content, "JPEG")
    with all_tenants():
        row.picture.save("kept.jpg", ContentFile(content.getvalue()), save=True)
    return row


def make_person(
    name: str, role: str, *, contractor: Contractor | None = None, shop: Shop | None = None, crew: Crew | None = None
) -> User:
    """A person with one role; no password, since tests sign them in by force."""
    user = User(username=name, display_name=name.replace(".", " ").title())
    user.set_unusable_password()
    user.save()
    if crew is not None:
        contractor = crew.contractor
    Membership.objects.create(user=user, role=role, contractor=contractor, shop=shop, crew=crew)
    return user


def recompute(*units: Trimmer) -> None:
    """Bring stored answers up after a change that is no entry, such as an interval."""
    with all_tenants():
        refresh_units([u.pk for u in units], "scan")


def make_bench(shop: Shop, minutes: int = 420) -> Bench:
    """A bench with one technician who works these minutes every day of the week."""
    week = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    Technician.objects.create(shop=shop, name="Ana", **dict.fromkeys(week, minutes))
    bench, _new = Bench.objects.get_or_create(shop=shop)
    return bench


def make_drop_off(
    shop: Shop,
    crew: Crew,
    *units: Trimmer,
    days: int = 1,
    kit: tuple[str, ...] = (),
    state: str = "booked",
    jobs: tuple[str, ...] = ("task.port",),
    **given: object,
) -> DropOff:
    """Rows of a drop-off, so many days ahead (negative: ago), with the same jobs for each of its units."""
    minutes = {job: practice_minutes(job) for job in ("intake", *jobs)}
    with all_tenants():
        owner = {"contractor_id": crew.contractor_id, "shop": shop}
        visit = DropOff.objects.create(crew=crew, day=days_ago(-days), state=state, **owner, **given)
        lines = [{"trimmer": unit, "minutes": sum(minutes.values())} for unit in units]
        lines += [{"kit": name, "minutes": practice_minutes("kit")} for name in kit]
        for line in lines:
            row = DropOffLine.objects.create(
                drop_off=visit, state=state, standing=state in STANDING, **owner, **line
            )  # fmt: skip
            for job in (*minutes,) if row.trimmer_id else ("kit",):
                LineJob.objects.create(line=row, job=job, minutes=practice_minutes(job), **owner)
        VisitEvent.objects.create(drop_off=visit, what=state, at=timezone.now(), **owner)
        return visit
