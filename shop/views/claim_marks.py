"""Where the claims on a line's jobs stand, for pages that name those jobs."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Prefetch
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.bench.claim_reading import stand_of
from shop.models import ClaimStep, LineJob, WarrantyClaim
from shop.vocabulary import CLAIM_STEPS


def claims_of_jobs(jobs: Iterable[LineJob]) -> dict[int, tuple[str, str]]:
    """Address and words of the claim on each of these jobs, by job; two queries."""
    steps = Prefetch("steps", ClaimStep.objects.known().order_by("pk"), to_attr="steps_known")
    found = {}
    for claim in WarrantyClaim.objects.known().filter(job__in=[job.pk for job in jobs]).prefetch_related(steps):
        stand = stand_of(claim.steps_known)
        words = CLAIM_STEPS[stand.step] if stand else _("not sent yet")
        found[claim.job_id] = (reverse("claim", args=[claim.pk]), str(words))
    return found
