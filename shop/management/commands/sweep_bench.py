"""No-shows, lapsed offers, unclaimed units, learned minutes, letters: for shops that run no queue."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from fleet.clock import day_at
from fleet.management.options import PortalCommand
from fleet.models import Shop
from shop.bench.estimate_mail import send_estimates
from shop.bench.mailing import send_waiting
from shop.bench.sweeping import sweep


class Command(PortalCommand):
    help = "Brings every shop's drop-offs up to today, learns minutes from finished jobs, and sends letters that wait."

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        for shop in Shop.objects.order_by("name", "pk"):
            found = sweep(shop=shop, today=day_at(shop, now), now=now)
            self.stdout.write(
                f"{shop}: {found.no_shows} no-shows, {found.lapsed} offers lapsed, {found.unclaimed} visits unclaimed, "
                f"minutes learned from {found.learned_from} jobs"
            )
        self.stdout.write(f"{send_waiting() + send_estimates()} letters sent")
