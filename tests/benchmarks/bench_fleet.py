"""Scan, entries and the Ready list with a large fleet in the database, each beside its yardstick in the same run.

``python -m tests.benchmarks.bench_fleet --units 100000`` builds its own database in a temporary folder (SQLite, or
PostgreSQL by ``DATABASE_URL`` pointing at an empty database) and prints medians, 95th percentiles and ratios.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.benchmarks.memory import watched

TODAY = dt.date(2026, 9, 15)
NOW = dt.datetime(2026, 9, 15, 12, tzinfo=dt.UTC)


def insert(table: str, columns: tuple[str, ...], rows: Iterator[tuple]) -> None:
    """Plain bulk insert."""
    from django.db import connection

    marks = ", ".join(["%s"] * len(columns))
    with connection.cursor() as cursor:
        cursor.executemany(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", rows)


def build(units: int, tenth: bool) -> None:
    """Fill the database with a bulk fleet."""
    from django.db import transaction

    from fleet.models import Contractor, Crew, Shop, TrimmerModel
    from fleet.simulation import bulk

    counts = bulk.RowCounts()
    setting = bulk.BulkSetting(units, TODAY, counts=counts.tenth() if tenth else counts)
    Shop.objects.create(name="Shop")
    contractors = Contractor.objects.bulk_create(
        Contractor(name=bulk.contractor_name(i)) for i in range(setting.contractors)
    )
    crews = Crew.objects.bulk_create(
        Crew(contractor=c, name=bulk.crew_name(k), name_key=bulk.crew_name(k))
        for c in contractors
        for k in range(setting.crews_per_contractor)
    )
    models = TrimmerModel.objects.bulk_create(
        TrimmerModel(maker=bulk.model_name(i)[0], name=bulk.model_name(i)[1], key=str(i)) for i in range(setting.models)
    )
    key = 0
    for chunk in bulk.bulk_fleet(setting):
        with transaction.atomic():
            key = _insert_chunk(chunk, contractors, crews, models, setting.crews_per_contractor, key)


def _insert_chunk(chunk, contractors, crews, models, per, key):  # type: ignore[no-untyped-def]
    from fleet.simulation import bulk
    from fleet.simulation import columns as words

    u = chunk.units
    number = u["unit"].tolist()
    owner = [contractors[c].pk for c in u["contractor"].tolist()]
    crew = [crews[c * per + k].pk for c, k in zip(u["contractor"].tolist(), u["crew"].tolist(), strict=True)]
    registered = [str(d) for d in u["registered_on"]]
    insert(
        "fleet_trimmer",
        ("id", "contractor_id", "tag", "tag_key", "model_id", "serial", "bought_on", "registered_on",
         "hours_at_registration", "guard_at_registration", "note", "ledger_version", "tag_token"),
        zip([n + 1 for n in number], owner, map(bulk.unit_tag, number), map(bulk.unit_tag, number),
            [models[m].pk for m in u["model"].tolist()], map(bulk.unit_serial, number),
            [str(d) for d in u["bought_on"]], registered, u["hours_at_registration"].tolist(), ["on"] * len(number),
            [""] * len(number), [0] * len(number), [f"t{n}" for n in number], strict=True),
    )  # fmt: skip
    base = ("contractor_id", "trimmer_id", "occurred_on", "recorded_at", "source", "content_key")
    owner_of = dict(zip(number, owner, strict=True))

    def common(table):  # type: ignore[no-untyped-def]
        nonlocal key
        n = len(table["unit"])
        units = table["unit"].tolist()
        key += n
        return (
            [owner_of[i] for i in units], [i + 1 for i in units], [str(d) for d in table["date"]], [NOW] * n,
            ["import"] * n, range(key - n, key),
        )  # fmt: skip

    def number_or_none(values):  # type: ignore[no-untyped-def]
        return [None if v != v else v for v in values.tolist()]

    def text(words_list, codes):  # type: ignore[no-untyped-def]
        return [words_list[c] for c in codes.tolist()]

    moves = {"unit": u["unit"], "date": u["registered_on"]}
    insert("fleet_assignment", (*base, "crew_id"), zip(*common(moves), crew, strict=True))
    h = chunk.hours
    meter = [v if k == 0 else None for v, k in zip(h["value"].tolist(), h["kind"].tolist(), strict=True)]
    run = [v if k == 1 else None for v, k in zip(h["value"].tolist(), h["kind"].tolist(), strict=True)]
    insert(
        "fleet_hoursentry", (*base, "meter_hours", "hours_run", "meter_replaced"),
        zip(*common(h), meter, run, [False] * len(run), strict=True),
    )  # fmt: skip
    g = chunk.guard
    insert(
        "fleet_guardcheck", (*base, "guard", "line", "safety", "seen_by"),
        zip(*common(g), text(words.GUARD, g["guard"]), text(words.LINE, g["line"]), text(words.SAFETY, g["safety"]),
            text(words.SEEN_BY, g["seen_by"]), strict=True),
    )  # fmt: skip
    s = chunk.services
    insert(
        "fleet_service", (*base, "hours", "task", "as_found", "done", "done_by", "minutes", "parts_cost"),
        zip(*common(s), number_or_none(s["hours"]), text(words.TASKS, s["task"]), text(words.AS_FOUND, s["as_found"]),
            text(words.SERVICE_DONE, s["done"]), text(words.DONE_BY, s["done_by"]), s["minutes"].tolist(),
            s["parts_cost"].tolist(), strict=True),
    )  # fmt: skip
    f = chunk.failures
    insert(
        "fleet_failure",
        (*base, "hours", "component", "what", "cause", "found", "done", "minutes", "parts_cost", "downtime_days",
         "guard_as_found"),
        zip(*common(f), number_or_none(f["hours"]), text(words.COMPONENTS, f["component"]), [""] * len(f["unit"]),
            text(words.CAUSE, f["cause"]), text(words.FOUND, f["found"]), text(words.FAILURE_DONE, f["done"]),
            f["minutes"].tolist(), f["parts_cost"].tolist(), f["downtime_days"].tolist(), [""] * len(f["unit"]),
            strict=True),
    )  # fmt: skip
    return key


READS = (
    "SELECT id, contractor_id, model_id, registered_on, bought_on, retired_on, hours_at_registration, "
    "guard_at_registration, ledger_version FROM fleet_trimmer",
    "SELECT trimmer_id, occurred_on, id, meter_hours, hours_run, litres, meter_replaced FROM fleet_hoursentry",
    "SELECT trimmer_id, occurred_on, id, crew_id FROM fleet_assignment",
    "SELECT trimmer_id, occurred_on, id, guard, line, safety, seen_by FROM fleet_guardcheck",
    "SELECT trimmer_id, occurred_on, id, hours, task, as_found, done, part_hours, done_by FROM fleet_service",
    "SELECT trimmer_id, occurred_on, id, hours, component, found, done, part_hours FROM fleet_failure",
)


def plain_read() -> int:
    """Read the ledger's rows once, in plain SQL, and let them go."""
    from django.db import connection

    n = 0
    for sql in READS:
        with connection.cursor() as cursor:
            cursor.execute(sql)
            while rows := cursor.fetchmany(20_000):
                n += len(rows)
    return n


def plain_insert_flags() -> int:
    """Insert as many flags as stand, as they stand, into a table alike."""
    from django.db import connection, transaction

    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM fleet_dueflag LIMIT 1")
        names = [c[0] for c in cursor.description if c[0] != "id"]
        cursor.execute(f"SELECT {', '.join(names)} FROM fleet_dueflag")
        rows = cursor.fetchall()
        cursor.execute(f"CREATE TABLE bench_flags AS SELECT {', '.join(names)} FROM fleet_dueflag LIMIT 0")
        cursor.execute("CREATE UNIQUE INDEX bench_once ON bench_flags (trimmer_id, task)")
        started = time.perf_counter()
        marks = ", ".join(["%s"] * len(names))
        for start in range(0, len(rows), 10_000):
            with transaction.atomic():
                cursor.executemany(f"INSERT INTO bench_flags VALUES ({marks})", rows[start : start + 10_000])
        seconds = time.perf_counter() - started
        cursor.execute("DROP TABLE bench_flags")
    plain_insert_flags.seconds = seconds  # type: ignore[attr-defined]
    return len(rows)


def timed(work: Callable[[], object]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def percentiles(times: list[float]) -> tuple[float, float]:
    """Median and 95th percentile in milliseconds."""
    ordered = sorted(times)
    return 1000 * statistics.median(ordered), 1000 * ordered[int(0.95 * (len(ordered) - 1))]


def row(name: str, value: str, yardstick: str, ratio: str, goal: str) -> None:
    print(f"{name:44} {value:>22} {yardstick:>22} {ratio:>8}  {goal}", flush=True)


def run(units: int, tenth: bool) -> None:
    from django.conf import settings
    from django.core.management import call_command

    from fleet.models import Contractor
    from fleet.upkeep.scan import scan

    call_command("migrate", verbosity=0)
    seconds = timed(lambda: build(units, tenth))
    rows = plain_read()
    print(f"{units:,} units, {rows:,} ledger rows, built in {seconds:.0f} s\n")
    row("what", "ours", "yardstick", "ratio", "goal")
    contractors = list(Contractor.objects.order_by("pk"))
    read = statistics.median(timed(plain_read) for _ in range(3))

    def whole_scan() -> None:
        # As the command does.
        scan(contractors, as_of=TODAY, today=TODAY, processes=settings.SCAN_PROCESSES)

    with watched() as peak:
        first, unchanged = timed(whole_scan), timed(whole_scan)
    flags = plain_insert_flags()
    inserted = plain_insert_flags.seconds  # type: ignore[attr-defined]
    row(
        "first scan (learn, flag, write)", f"{first:.1f} s", f"read+insert {read + inserted:.1f} s",
        f"{first / (read + inserted):.2f}", "<= 3",
    )  # fmt: skip
    row("unchanged scan", f"{unchanged:.1f} s", f"plain read {read:.1f} s", f"{unchanged / read:.2f}", "<= 5")
    row("peak memory, both scans, all processes", f"{peak.mebibytes:.0f} MiB", f"{flags:,} flags", "", "< 1024 MiB")
    bench_entries(units)
    bench_ready(contractors)


def bench_entries(units: int) -> None:
    """One entry of each kind with its unit's flags, beside a bare insert in a transaction."""
    from django.db import connection, transaction

    from fleet.models import Trimmer
    from fleet.record.guard_walk import Seen, record_walk
    from fleet.record.hours import HoursLine, record_hours
    from fleet.record.work import Broken, Work, record_failure, record_service
    from fleet.record.writing import By

    picked = [Trimmer.objects.get(pk=1 + (i * 7919) % units) for i in range(120)]

    def by() -> By:
        return By(None, client_entry_id=uuid.uuid4())

    def bare(unit: Trimmer, n: int) -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO fleet_guardcheck (contractor_id, trimmer_id, occurred_on, recorded_at, source, "
                "content_key, guard, line, safety, seen_by) "
                "VALUES (%s, %s, %s, %s, 'screen', %s, 'on', 'ok', 'ok', 'crew')",
                (unit.contractor_id, unit.pk, TODAY, NOW, -1 - n),
            )

    bare_times = [timed(lambda u=u, n=n: bare(u, n)) for n, u in enumerate(picked)]
    base, base95 = percentiles(bare_times)
    kinds: dict[str, Callable[[Trimmer], object]] = {
        "hours": lambda u: record_hours(
            lines=[HoursLine(u, TODAY, litres=1)], by=by(), today=TODAY, confirmed=True,  # type: ignore[arg-type]
        ),
        "guard walk": lambda u: record_walk(seen=[Seen(u, "on", "ok", "ok")], on=TODAY, by=by(), today=TODAY),
        "service": lambda u: record_service(work=Work(u, "grease", TODAY, "ok"), by=by(), today=TODAY),
        "failure": lambda u: record_failure(broken=Broken(u, "starter", TODAY, done="repaired"), by=by(), today=TODAY),
    }  # fmt: skip
    for name, write in kinds.items():
        median, high = percentiles([timed(lambda u=u, w=write: w(u)) for u in picked])
        row(
            f"one entry with its flags: {name}", f"{median:.1f} ms, 95 % {high:.1f}", f"bare {base:.2f}, {base95:.2f}",
            f"{high / max(base95, 1e-6):.0f}", "95 % <= 50 ms",
        )  # fmt: skip


def bench_ready(contractors: list) -> None:
    """The Ready list page of a crew boss, and of an owner for all crews, through the whole stack as it is served."""
    from django.db import connection
    from django.test import Client
    from django.urls import reverse

    import fleet.wsgi  # noqa: F401  what a server does once as it starts
    from fleet.models import Crew, Membership, User
    from fleet.upkeep.lists import due_jobs

    crews = list(Crew.objects.filter(contractor__in=contractors[:40]).select_related("contractor"))[:40]
    user = User.objects.create(username="bench-boss")
    times, flag_reads, query_times = [], [], []
    for crew in crews:
        Membership.objects.filter(user=user).delete()
        Membership.objects.create(user=user, role="crew_boss", contractor=crew.contractor, crew=crew)
        query_times.append(timed(lambda c=crew: due_jobs([c.contractor], as_of=TODAY, crew_id=c.pk)))
        with connection.cursor() as cursor:
            flag_reads.append(
                timed(
                    lambda c=crew: cursor.execute(
                        "SELECT f.* FROM fleet_dueflag f JOIN fleet_unitstate s ON s.trimmer_id = f.trimmer_id "
                        "WHERE s.crew_id = %s", (c.pk,),
                    ).fetchall()
                )
            )  # fmt: skip
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        url = reverse("ready")
        client.get(url)
        times.append(timed(lambda c=client, u=url: c.get(u)))
    owners = []
    for contractor in contractors[:40]:
        Membership.objects.filter(user=user).delete()
        Membership.objects.create(user=user, role="owner", contractor=contractor)
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        client.get(reverse("ready"))
        owners.append(timed(lambda c=client: c.get(reverse("ready"))))
    base, base95 = percentiles(flag_reads)
    median, high = percentiles(query_times)
    row("Ready list, the answer alone", f"{median:.1f} ms, 95 % {high:.1f}", f"read {base:.2f}, {base95:.2f}", "", "")
    for name, measured in (("a crew boss's page", times), ("an owner's page, all crews", owners)):
        median, high = percentiles(measured)
        row(
            f"Ready list, {name}", f"{median:.1f} ms, 95 % {high:.1f}", f"read {base:.2f}, {base95:.2f}",
            f"{high / max(base95, 1e-6):.0f}", "95 % <= 100 ms",
        )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--units", type=int, default=100_000)
    parser.add_argument("--tenth", action="store_true", help="a tenth of the rows a unit, as for a million units")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("DATABASE_URL", f"sqlite:///{Path(folder) / 'bench.sqlite3'}")
        os.environ.setdefault("SECRET_KEY", "bench")
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
        import django

        django.setup()
        from fleet.models.tenancy import all_tenants

        with all_tenants():
            run(options.units, options.tenth)


if __name__ == "__main__":
    main()
