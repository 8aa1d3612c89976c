"""Work for the queue: load by id, call the bench. Each may run twice, or be killed half-way and run again."""

from __future__ import annotations

from django.utils import timezone

from fleet.celery import app
from fleet.clock import day_at
from fleet.models import Shop
from fleet.models.tenancy import all_tenants
from shop.bench.estimate_mail import send_estimates as send_letters_with_estimates
from shop.bench.mailing import send_waiting as send
from shop.bench.season import work_out
from shop.bench.sweeping import sweep


@app.task(name="shop.send_waiting")
def send_waiting() -> int:
    """Send letters about drop-offs that wait."""
    with all_tenants():
        return send()


@app.task(name="shop.send_estimates")
def send_estimates() -> int:
    """Send estimates that wait."""
    with all_tenants():
        return send_letters_with_estimates()


@app.task(name="shop.sweep")
def sweep_shop(shop_id: int) -> None:
    """Bring one shop's drop-offs up to its day."""
    shop = Shop.objects.filter(pk=shop_id).first()
    if shop is not None:
        now = timezone.now()
        sweep(shop=shop, today=day_at(shop, now), now=now)


@app.task(name="shop.sweep_everyone")
def sweep_everyone() -> int:
    """Queue a sweep for each shop, and send what waits; returns how many shops."""
    ids = list(Shop.objects.order_by("pk").values_list("pk", flat=True))
    for pk in ids:
        sweep_shop.delay(pk)
    send_waiting.delay()
    send_estimates.delay()
    return len(ids)


@app.task(name="shop.work_out_plan")
def work_out_plan(plan_id: int) -> None:
    """Work out a season plan that somebody asked for."""
    work_out(plan_id=plan_id)
