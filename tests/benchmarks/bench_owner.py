"""The owner's pages with a large fleet in the database, of which a part is this owner's.

``python -m tests.benchmarks.bench_owner --units 100000 --own 5000`` builds its own database in a temporary folder and
prints, for each page, median and 95th percentile through the whole stack, and what the night's work takes.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from pathlib import Path

from tests.benchmarks.bench_fleet import TODAY, build, percentiles, row, timed

ASKED = 60


def run(units: int, own: int, crew_costs: bool) -> None:
    from django.core.management import call_command

    from fleet.models import Contractor, Crew
    from fleet.upkeep.crew_cost_store import refresh_crew_costs
    from fleet.upkeep.review_store import refresh_reviews

    call_command("migrate", verbosity=0)
    print(f"{units:,} units built in {timed(lambda: build(units, False)):.0f} s")
    owner_of = gather(own)
    contractor = Contractor.objects.get(pk=owner_of)
    print(f"{Crew.objects.filter(contractor=contractor).count()} crews of this owner")
    row("what", "ours", "", "", "goal")
    price_models()
    first = timed(lambda: refresh_reviews([contractor], today=TODAY))
    row(f"advice on {own:,} units, the night's work", f"{first:.1f} s", "", "", "")
    pages(contractor, PAGES[1:])
    if not crew_costs:
        return
    first = timed(lambda: refresh_crew_costs([contractor], today=TODAY))
    again = timed(lambda: refresh_crew_costs([contractor], today=TODAY))
    row(f"crew costs of {own:,} units, the night's work", f"{first:.1f} s", f"unmoved {1000 * again:.0f} ms", "", "")
    pages(contractor, PAGES[:1])


def pages(contractor, names):  # type: ignore[no-untyped-def]
    """Each page as its owner gets it, through the whole stack."""
    from django.test import Client
    from django.urls import NoReverseMatch, reverse

    from fleet.models import Membership, User

    user, _new = User.objects.get_or_create(username="bench-owner")
    Membership.objects.get_or_create(user=user, role="owner", contractor=contractor)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    for name in names:
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        assert client.get(url).status_code == 200, name
        median, high = percentiles([timed(lambda u=url: client.get(u)) for _ in range(ASKED)])
        row(f"page: {name}", f"{median:.1f} ms, 95 % {high:.1f}", "", "", "95 % <= 100 ms")


PAGES = (
    "crew_costs", "reviews", "buying", "free_repairs", "theft_sheet", "season_budget", "annual_report", "repairs",
    "model_records",
)  # fmt: skip


def price_models() -> None:
    """A price, a size and a warranty for every model, the same for all."""
    from fleet.models import ModelTerms, TrimmerModel

    ModelTerms.objects.bulk_create(
        ModelTerms(model=model, price=300 + 5 * number, displacement_cc=22 + number / 2, warranty_months=24)
        for number, model in enumerate(TrimmerModel.objects.order_by("pk"))
    )


def gather(own: int) -> int:
    """Give so many units, with their crews and entries, to the first contractor; returns its id."""
    from django.db import connection

    from fleet.models import Contractor, Crew

    first = Contractor.objects.order_by("pk").first()
    assert first is not None
    tables = [t for t in connection.introspection.table_names() if t.startswith("fleet_")]
    with connection.cursor() as cursor:
        cursor.execute("SELECT DISTINCT contractor_id FROM fleet_trimmer WHERE id <= %s", (own,))
        whose = [pk for (pk,) in cursor.fetchall()]
        for number, crew in enumerate(Crew.objects.filter(contractor__in=whose)):
            Crew.objects.filter(pk=crew.pk).update(name=f"Crew {number:03d}", name_key=f"crew{number}")
        for table in tables:
            columns = {c.name for c in connection.introspection.get_table_description(cursor, table)}
            if "contractor_id" in columns and ("trimmer_id" in columns or table in ("fleet_trimmer", "fleet_crew")):
                marks = ", ".join(["%s"] * len(whose))
                cursor.execute(
                    f"UPDATE {table} SET contractor_id = %s WHERE contractor_id IN ({marks})",
                    (first.pk, *whose),
                )
    return first.pk


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--units", type=int, default=100_000)
    parser.add_argument("--own", type=int, default=5_000)
    parser.add_argument("--no-crew-costs", action="store_true", help="leave out what takes long with hundreds of crews")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("DATABASE_URL", f"sqlite:///{Path(folder) / 'bench.sqlite3'}")
        os.environ.setdefault("SECRET_KEY", "bench")
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
        import django

        django.setup()
        from fleet.models.tenancy import all_tenants

        with all_tenants():
            run(options.units, options.own, not options.no_crew_costs)


if __name__ == "__main__":
    main()
