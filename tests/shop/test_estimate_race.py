"""Two clicks at once on the address of an estimate are recorded once, and the first of a yes and a no stands."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from functools import partial

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.models import Role
from fleet.models.tenancy import all_tenants
from fleet.record.writing import By
from shop.bench.estimate_addresses import token_of
from shop.bench.estimating import Asked, send_estimate
from shop.models import CheckIn, DropOffLine, EstimateAddress, EstimateAnswer, LineJob, VisitEvent
from tests import factories
from tests.shared_database import in_own_connection, share_database

AT_ONCE = 8


def _sent() -> str:
    """An estimate of $26 parts and 12 minutes, nothing agreed before; returns its address."""
    shop = factories.make_shop()
    contractor = factories.make_contractor("Quarry", shop)
    crew = factories.make_crew(contractor)
    factories.make_bench(shop)
    owner = factories.make_person("owner", Role.OWNER, contractor=contractor)
    owner.email = "owner@quarry.example"
    owner.save()
    factories.make_drop_off(shop, crew, factories.make_unit(crew, "QR-01"), state="on_bench")
    line = DropOffLine.objects.select_related("drop_off__contractor", "trimmer").get()
    job = LineJob.objects.create(
        line=line, job="fault.starter", contractor=contractor, shop=shop, minutes=20
    )  # fmt: skip
    job.line = line
    send_estimate(
        job=job, asked=Asked("replace", 12, Decimal(26)), mail=True, portal="https://portal.example/", by=By(None),
        now=timezone.localtime(),
    )  # fmt: skip
    return reverse("estimate", args=[token_of(EstimateAddress.objects.get())])


def _click(gate: threading.Barrier, link: str, answer: str) -> int:
    client = Client()
    gate.wait(60)
    return int(client.post(link, {"answer": answer}).status_code)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("answers", [["yes"] * AT_ONCE, ["yes", "no"] * (AT_ONCE // 2)])
def test_clicks_at_once_record_one_answer(answers: Sequence[str], monkeypatch, tmp_path, settings):
    settings.CACHES = {
        "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": str(tmp_path)}
    }
    monkeypatch.setattr("fleet.background.start", lambda *args, **kwargs: None)
    with all_tenants():
        link = _sent()
    share_database(tmp_path, monkeypatch)
    gate = threading.Barrier(len(answers))
    with ThreadPoolExecutor(len(answers)) as pool:
        clicks = [pool.submit(in_own_connection, partial(_click, gate, link, answer)) for answer in answers]
        assert [click.result(120) for click in clicks] == [302] * len(answers)

    def kept() -> tuple[list[EstimateAnswer], int, int]:
        told = VisitEvent.objects.filter(what="estimate", after__in=["yes", "no"]).count()
        return list(EstimateAnswer.objects.all()), told, CheckIn.objects.count()

    with ThreadPoolExecutor(1) as pool:
        (answer,), told, agreed = pool.submit(in_own_connection, kept).result(120)
    assert told == 1
    # Yes raises the sum that is OK to fix up to, once; no leaves it.
    assert agreed == (answer.answer == "yes")
    assert answer.fix_up_to == (answer.total if answer.answer == "yes" else None)
