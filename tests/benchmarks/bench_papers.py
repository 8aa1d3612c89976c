"""How long papers take beside an empty page. ``python -m tests.benchmarks.bench_papers [REPEATS]``.

Units come from the demo in this machine's own database: run ``make demo`` once before.
"""

from __future__ import annotations

import datetime as dt
import os
import statistics
import sys
import time
from collections.abc import Callable

UNITS = 40


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Median seconds of processor time, after one run that fills what is kept in the process."""
    work()
    taken = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def main(repeats: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    import django

    django.setup()
    from django.db import connection
    from weasyprint import HTML

    from fleet.documents import VARIANT, make_pdf
    from fleet.models import Contractor, Crew, Trimmer
    from fleet.models.tenancy import all_tenants
    from fleet.paper_sizes import LETTER
    from fleet.upkeep.lines import ready_list, seasons_of
    from fleet.views.scope import Scope
    from shop.cautions import LOADING
    from shop.label_sheets import LABEL_SHEETS
    from shop.papers.crew_sheet import bring_lines, crew_sheet
    from shop.papers.labels import LabelLook, label_pages

    if Contractor._meta.db_table not in connection.introspection.table_names() or not Contractor.objects.exists():
        print("papers: no units in this database; make demo first")
        return
    today = dt.date.today()
    with all_tenants():
        contractors = list(Contractor.objects.all())
        crew = Crew.objects.select_related("contractor").first()
        scope = Scope(contractors, [], crew.contractor if crew else None, crew, today)
        seasons = seasons_of(contractors)
        far = today + dt.timedelta(days=500)
        sheet = crew_sheet(ready_list(contractors, seasons, as_of=today, before=far, place="bench"))
        units = list(Trimmer.objects.filter(retired_on__isnull=True).select_related("model", "contractor")[:UNITS])
    look = LABEL_SHEETS["letter-30"]

    def empty() -> object:
        return HTML(string='<html lang="en"><title>Empty</title></html>').write_pdf(pdf_variant=VARIANT)

    def crews() -> object:
        lines = bring_lines(sheet.lines[:UNITS], seasons)
        said = {"sheet": sheet, "lines": lines, "scope": scope, "before": far, "caution": LOADING, "first": 1}
        return make_pdf("print/crew_sheet.html", {**said, "last": len(lines), "shops": [], "invented": True}, LETTER)

    def labels() -> object:
        pages = label_pages([(u, f"https://portal.example.org/t/{u.tag_token}/") for u in units], look)
        made = {label.code_name: label.code for page in pages for label in page}
        return make_pdf("print/labels.html", {"pages": pages, "look": LabelLook(look)}, look.paper, made)

    yardstick = seconds(empty, repeats)
    print(f"{'paper':>28s} {'seconds':>8s} {'of empty':>9s}")
    print(f"{'empty page':>28s} {yardstick:8.3f} {1:9.0f}")
    for name, work in (
        (f"crew sheet, {min(UNITS, len(sheet.lines))} units", crews),
        (f"labels, {len(units)} units", labels),
    ):
        taken = seconds(work, repeats)
        print(f"{name:>28s} {taken:8.3f} {taken / yardstick:9.0f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
