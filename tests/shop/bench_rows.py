"""A real row of a contractor's for every parameter that an address of the bench takes."""

from __future__ import annotations

import datetime as dt
import io

from django.core.files.base import ContentFile
from django.utils import timezone
from PIL import Image

from fleet.models import Contractor, Crew, Trimmer
from fleet.models.tenancy import all_tenants
from shop.models import BenchPhoto, ClosedDays, DropOffLine, Estimate, LineJob, SeasonPlan, Technician, WarrantyClaim
from tests import factories

BENCH_ROWS = {
    "drop_off", "drop_off_move", "drop_off_accept", "drop_off_cancel", "line_cancel", "bench_line", "line_check_in",
    "line_step", "line_add_job", "bench_photos", "bench_photo", "bench_job", "technician_change", "closed_remove",
    "season_plan_send", "first_checks", "first_checks_answer", "crew_calendar", "shop_calendar", "bench_sheet",
    "sheet_save", "sheet_figure", "sheet_record", "drop_off_ticket", "drop_off_costs", "inspection_slip",
    "ticket", "quick_look", "quick_decide", "repair_or_swap",
    "estimate_send", "bench_estimate", "estimate_owner", "claim", "claim_open",
}  # fmt: skip
IN_THE_SHOP = {
    "bench_line", "line_step", "line_add_job", "bench_photos", "bench_photo", "bench_job", "first_checks",
    "first_checks_answer", "bench_sheet", "sheet_save", "sheet_figure", "sheet_record",
    "quick_look", "quick_decide", "repair_or_swap", "estimate_send",
    "bench_estimate", "estimate_owner", "claim", "claim_open",
}  # fmt: skip


def bench_row(name: str, param: str, contractor: Contractor, crew: Crew, unit: Trimmer) -> int | str:
    """A visit at the shop that looks after this contractor, with a line, a job and a picture; its pk or a part's."""
    shop = contractor.arrangements.get().shop
    if name == "crew_calendar":
        return crew.pk
    if name == "shop_calendar":
        return shop.pk
    if param == "technician":
        return Technician.objects.get_or_create(shop=shop, name="Ana")[0].pk
    if param == "closed":
        return ClosedDays.objects.create(shop=shop, first=dt.date.today(), last=dt.date.today()).pk
    if param == "plan":
        today = dt.date.today()
        return SeasonPlan.objects.create(shop=shop, first_day=today, last_day=today, due_by=today, made_on=today).pk
    with all_tenants():
        line = DropOffLine.objects.filter(trimmer=unit, standing=True).first()
        if line is None:
            state = "checked_in" if name in IN_THE_SHOP else "booked"
            factories.make_drop_off(shop, crew, unit, state=state)
            line = DropOffLine.objects.get(trimmer=unit, standing=True)
        if param == "photo":
            return bench_photo(line).pk
        if name == "inspection_slip":
            DropOffLine.objects.filter(pk=line.pk).update(arrived_at=timezone.now())
        if name == "ticket":
            return str(line.drop_off.token)
        if name in ("repair_or_swap", "estimate_send", "bench_estimate", "estimate_owner"):
            made = {"contractor_id": line.contractor_id, "shop_id": line.shop_id, "minutes": 20}
            job = LineJob.objects.get_or_create(line=line, job="fault.starter", defaults=made)[0]
            return job.pk if name in ("repair_or_swap", "estimate_send") else estimate(job).pk
        if name in ("claim", "claim_open"):
            job = repaired(line)
            return job.pk if name == "claim_open" else claim_on(job).pk
        if name == "bench_job":
            return LineJob.objects.filter(line=line).latest("pk").pk
        return line.drop_off_id if name.startswith("drop_off") else line.pk


def repaired(line: DropOffLine) -> LineJob:
    """A job of the line that is done, with its failure in the ledger."""
    found: LineJob | None = LineJob.objects.filter(line=line, entry_kind="failure").first()
    if found is None:
        assert line.trimmer is not None
        failure = factories.break_part(line.trimmer, "starter", days=1, done="replaced", minutes=30, parts_cost=40)
        found = LineJob.objects.create(
            line=line, job="repair.starter.replaced", contractor_id=line.contractor_id, shop_id=line.shop_id,
            minutes=30, minutes_taken=30, done_at=timezone.now(), entry_kind="failure", entry_id=failure.pk,
        )  # fmt: skip
    return found


def claim_on(job: LineJob) -> WarrantyClaim:
    """A claim on a finished repair, not sent yet."""
    made = {"contractor_id": job.contractor_id, "shop_id": job.shop_id, "opened_at": timezone.now()}
    return WarrantyClaim.objects.get_or_create(job=job, defaults=made)[0]


def bench_photo(line: DropOffLine) -> BenchPhoto:
    """A small picture of a line."""
    content = io.BytesIO()
    Image.new("RGB", (8, 8)).save(content, "JPEG")
    photo = BenchPhoto(contractor_id=line.contractor_id, shop_id=line.shop_id, line=line)
    photo.picture.save("x.jpg", ContentFile(content.getvalue()), save=True)
    return photo


def estimate(job: LineJob) -> Estimate:
    """What a fault was said to come to; no letter went out."""
    found: Estimate | None = Estimate.objects.filter(job=job).first()
    if found is not None:
        return found
    now = timezone.now()
    return Estimate.objects.create(
        contractor_id=job.contractor_id, shop_id=job.shop_id, line_id=job.line_id, job=job, job_key=job.job,
        way="replace", minutes=12, parts=26, labour_rate=90, labor=18, total=44, made_at=now,
        expires_at=now + dt.timedelta(days=7),
    )  # fmt: skip
