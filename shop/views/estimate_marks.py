"""Where estimates are pointed to from: the jobs of a line, for the bench; the lines of a visit, for its owner."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.urls import reverse
from django.utils import timezone

from shop.bench.estimate_words import answer_words
from shop.bench.estimating import answer_to, finished_with
from shop.bench.words import job_words
from shop.models import DropOff, Estimate, LineJob
from shop.repair_options import way_words


def estimates_of_jobs(jobs: Iterable[LineJob]) -> dict[int, dict[str, Any]]:
    """The latest estimate of each job with its answer, as the bench work lists them; one query."""
    lines = {job.line_id for job in jobs}
    related = ("answered__author", "line__shop", "line__trimmer")
    rows = Estimate.objects.known().filter(line__in=lines).select_related(*related).order_by("pk")
    found = {}
    for estimate in rows:
        given = answer_to(estimate)
        found[estimate.job_id] = {
            "url": reverse("bench_estimate", args=[estimate.pk]),
            "total": estimate.total,
            "way": way_words(estimate.way, estimate.kind),
            "answer": answer_words(given, estimate) if given else None,
            "answered_at": given.at if given else None,
            "filled": {"minutes": estimate.minutes, "parts_cost": estimate.parts},
        }
    return found


def estimates_of_visit(visit: DropOff) -> dict[int, list[dict[str, Any]]]:
    """The latest estimate of each fault by line, for who owns the units; one query."""
    rows = Estimate.objects.known().filter(line__drop_off=visit).select_related("answered", "line", "job")
    found: dict[int, list[dict[str, Any]]] = {}
    for estimate in {one.job_id: one for one in rows.order_by("pk")}.values():
        waits = (
            answer_to(estimate) is None
            and estimate.expires_at > timezone.now()
            and not finished_with(estimate.job, estimate.line)
        )
        if waits or answer_to(estimate) is not None:
            shown = {
                "url": reverse("estimate_owner", args=[estimate.pk]),
                "waits": waits,
                "job": job_words(estimate.job_key),
            }
            found.setdefault(estimate.line_id, []).append(shown)
    return found
