"""The ticket of a drop-off, the inspection slip of a unit, work and what it comes to: what each says, and to whom."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.models.tenancy import all_tenants
from fleet.record.corrections import withdraw
from fleet.record.writing import By
from shop.bench.arriving import Told, check_in
from shop.bench.booking import cancel
from shop.bench.calendar_keeping import change_bench
from shop.bench.reading import visit_rows
from shop.bench.sheet_taps import Tap, record_taps
from shop.bench.work_done import costs_of, work_done
from shop.bench.working import Found, finish_job, leave_out
from shop.models import DropOff, DropOffLine, LineJob
from tests import factories
from tests.fleet.views.pages import queries, text
from tests.paper_reading import assert_well_made, codes, nothing_amiss, pictures, sizes_mm, tags, words

pytestmark = pytest.mark.django_db
TODAY = dt.date.today()
BENCH = By(None, "screen", "shop")
PAPERS = ("drop_off_ticket", "drop_off_costs", "inspection_slip")


@pytest.fixture
def visit(portal) -> DropOff:
    factories.make_bench(portal.shop)
    change_bench(shop=portal.shop, values={"phone": "555-0140", "address": "14 Alder Street"})
    jobs = ("task.stop_switch", "task.port", "fault.carburetor")
    return factories.make_drop_off(portal.shop, portal.north, portal.units["due"], days=0, kit=("Blower",), jobs=jobs)


def line_of(visit: DropOff, kit: bool = False) -> DropOffLine:
    with all_tenants():
        rows = DropOffLine.objects.select_related("trimmer__model", "drop_off__shop", "shop").filter(drop_off=visit)
        return rows.get(trimmer__isnull=kit)


def arrive(visit: DropOff, **told) -> DropOffLine:
    said = {
        "phone": "555-0117", "complaint": "Loses power after lunch", "symptom": "loses_power_gradually", "fuel": "old",
        "left_with": "Harness", "promised_on": TODAY, "fix_up_to": Decimal(80), "diagnosis_charge": Decimal(25),
        "guard": "on", "cutting_line": "long",
    }  # fmt: skip
    with all_tenants():
        check_in(line=line_of(visit), told=Told(**{**said, **told}), by=BENCH, today=TODAY, now=timezone.now())
    return line_of(visit)


def finish(visit: DropOff, job: str, **found) -> LineJob:
    with all_tenants():
        row = LineJob.objects.get(line__drop_off=visit, job=job)
        row.line = DropOffLine.objects.select_related("trimmer", "drop_off__shop").get(pk=row.line_id)
        return finish_job(job=row, found=Found(**found), by=BENCH, today=TODAY, now=timezone.now())


def paper(client: Client, name: str, pk: int, **query) -> bytes:
    with nothing_amiss():
        response = client.get(reverse(name, args=[pk]), query)
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    return response.content


def test_a_ticket_before_it_is_brought_has_room_to_write(portal, visit):
    content = paper(portal.client("boss"), "drop_off_ticket", visit.pk)
    said = words(content)
    for piece in (
        "Drop-off ticket", "Alder Street Small Engine", "14 Alder Street", "phone 555-0140", "bring by 9:30 AM",
        "Quarry Hill Grounds, North: 2 pieces", "QH-01", "serial OH2310001", "Clean the exhaust port", "Blower",
        "OK to fix without a call up to $", "Fuel in it:", "Usual diagnosis charge for a complaint: $25.00",
        "within 30 days of being ready counts as unclaimed; local law says what follows",
        "engines cold, plug leads off", "The operator's manual and local rules come first.", "Brought by", "Fetched by",
    ):  # fmt: skip
        assert piece in said, piece
    assert_well_made(content, "Ticket: Quarry Hill Grounds, North")
    assert ("Figure", "Code that opens this visit") in tags(content)


def test_the_code_on_a_ticket_opens_the_visit_for_those_who_see_it(portal, visit):
    (address,) = codes(paper(portal.client("technician"), "drop_off_ticket", visit.pk))
    assert address == f"http://testserver{reverse('ticket', args=[visit.token])}"
    for who in ("boss", "owner", "technician"):
        assert portal.client(who).get(address)["Location"] == reverse("drop_off", args=[visit.pk])
    for who in ("neighbor", "stranger", "other_bench", "administrator"):
        assert portal.client(who).get(address).status_code == 404
    assert portal.client("boss").get(reverse("ticket", args=["A" * 22])).status_code == 404


def test_a_ticket_after_check_in_says_what_was_agreed(portal, visit):
    arrive(visit)
    said = words(paper(portal.client("technician"), "drop_off_ticket", visit.pk))
    for piece in (
        "Complaint: Has lost power slowly over weeks. Loses power after lunch", "mixed fuel, over 30 days old",
        "Left with it: Harness", "OK to fix up to: $80.00", "Diagnosis charge: $25.00", "Promised for:", "555-0117",
    ):  # fmt: skip
        assert piece in said, piece


def test_a_slip_says_what_was_found_on_arrival_and_since(portal, visit):
    line = arrive(visit, safety=("fuel_leak",))
    finish(visit, "task.stop_switch", as_found="worn", done="replaced", minutes=9)
    content = paper(portal.client("technician"), "inspection_slip", line.pk)
    said = words(content)
    for piece in (
        "Inspection slip, QH-01", "Stop: do not start it", "Has lost power slowly", "What holds it:",
        "not started until that is put right",
        "Loses power after lunch", "Engine hours not looked at", "Guard on", "Line long", "Safety fuel leak",
        "Stop switch and trigger check worn, replaced", "Still to do: Clean the exhaust port; Fault: carburetor",
        "Arrestor screen clean not looked at", "Guard on with its cutter", "Inspected by",
    ):  # fmt: skip
        assert piece in said, piece
    assert_well_made(content, "Inspection slip: QH-01")


def test_a_slip_lists_the_bench_sheet_worst_first_and_what_nobody_looked_at(portal, visit):
    line = arrive(visit)
    with all_tenants():
        taps = [Tap("piston", "good"), Tap("guard", "bad"), Tap("line", "worn", done="replaced")]
        record_taps(line=line, taps=taps, by=BENCH, today=TODAY, now=timezone.now())
    said = words(paper(portal.client("technician"), "inspection_slip", line.pk))
    bad, worn, good, not_looked = (said.index(word) for word in ("Bad Guard", "Worn ", "Good ", "Not looked at "))
    assert bad < worn < good < not_looked
    assert "new part fitted" in said[worn:good]


def test_a_sound_unit_leaves_with_no_hold_and_what_nobody_looked_at(portal, visit):
    line = arrive(visit, complaint="", symptom="", guard="")
    said = words(paper(portal.client("boss"), "inspection_slip", line.pk))
    assert "No hold stands on it as of" in said
    assert "Guard not looked at" in said
    assert "Complaint nothing written down" in said


def test_a_slip_of_a_held_unit_says_so(portal, visit):
    line = arrive(visit, complaint="", symptom="", safety=("fuel_leak",))
    assert "Hold: do not start" in words(paper(portal.client("technician"), "inspection_slip", line.pk))


def test_a_slip_never_calls_a_stopped_unit_free(portal, visit):
    """A recall notice and an open fault that can hurt are no holds of a job, and stop the unit all the same."""
    line, client = arrive(visit, complaint="", symptom="", guard=""), portal.client("technician")
    assert "No hold stands on it" in words(paper(client, "inspection_slip", line.pk))
    factories.break_part(portal.units["due"], "gearbox", days=1, done="", what="head wobbles")
    said = words(paper(client, "inspection_slip", line.pk))
    assert "No hold stands on it" not in said
    assert "Stop: do not start it" in said
    assert "Head wobbles" in said
    factories.make_notice(portal.units["due"].model)
    said = words(paper(client, "inspection_slip", line.pk))
    assert "no repair takes its place" in said
    assert said.index("fuel cap may leak") < said.index("Head wobbles")


def test_there_is_no_slip_before_arrival_nor_for_other_kit(portal, visit):
    client = portal.client("technician")
    assert client.get(reverse("inspection_slip", args=[line_of(visit).pk])).status_code == 404
    kit = line_of(visit, kit=True)
    with all_tenants():
        check_in(line=kit, told=Told(), by=BENCH, today=TODAY, now=timezone.now())
    assert client.get(reverse("inspection_slip", args=[kit.pk])).status_code == 404
    page = client.get(reverse("drop_off", args=[visit.pk])).content.decode()
    assert "Inspection slip" not in page


def test_work_and_cost_adds_up(portal, visit):
    arrive(visit, fix_up_to=Decimal(60))
    finish(visit, "intake", minutes=12)
    finish(visit, "task.port", as_found="partly", done="serviced", minutes=40)
    done = {"component": "carburetor", "what": "Diaphragm stiff", "cause": "stale_fuel", "done": "repaired"}
    finish(visit, "fault.carburetor", minutes=20, parts_cost=Decimal("12.35"), **done)
    finish(visit, "task.stop_switch", as_found="ok", done="looked")
    content = paper(portal.client("owner"), "drop_off_costs", visit.pk)
    said = words(content)
    # 60 minutes at $90 an hour, and the part; taking in is on no bill.
    for piece in (
        "$102.35 in all: $90.00 labor, $12.35 parts.",
        "Carburetor repaired Diaphragm stiff, cause stale fuel 20 $30.00",
        "40 $60.00", "Take in, wash down, safety look not counted 12 – –", "not entered",
        "OK to fix up to $60.00: the sum lies above it", "and more: for 1 job no minutes were entered",
        "at $90.00 an hour, the labor rate set for Quarry Hill Grounds", "This is no bill",
    ):  # fmt: skip
        assert piece in said, piece
    assert_well_made(content, "Work and cost: Quarry Hill Grounds, North")


def test_warranty_work_and_what_was_taken_back_are_not_counted(portal, visit):
    arrive(visit)
    finish(visit, "task.port", as_found="ok", done="serviced", minutes=30, parts_cost=Decimal(9), warranty=True)
    looked = finish(visit, "task.stop_switch", as_found="ok", done="looked", minutes=30)
    with all_tenants():
        withdraw(kind="service", entry_id=looked.entry_id, why="wrong unit", by=BENCH)
        job = LineJob.objects.get(line__drop_off=visit, job="fault.carburetor")
        job.line = line_of(visit)
        leave_out(job=job, why="the owner said no", by=BENCH, now=timezone.now())
        (row,) = visit_rows(DropOff.objects.filter(pk=visit.pk))
        work = work_done(row.lines, visit.contractor_id)[line_of(visit).pk]
    costs = costs_of(work, Decimal(90))
    assert (costs.labor, costs.parts, costs.without_minutes) == (0, 0, 0)
    said = words(paper(portal.client("manager"), "drop_off_costs", visit.pk))
    for piece in ("under warranty, not counted", "taken back later, not counted", "the owner said no", "$0.00 in all"):
        assert piece in said, piece


def test_links_stand_where_the_person_stands(portal, visit):
    line = line_of(visit)
    page = reverse("drop_off", args=[visit.pk])
    assert "Work and cost" not in text(portal.client("owner").get(page))
    arrive(visit)
    finish(visit, "task.port", as_found="ok", done="serviced", minutes=30)
    urls = {name: reverse(name, args=[line.pk if name == "inspection_slip" else visit.pk]) for name in PAPERS}
    sheet = reverse("bench_line", args=[line.pk])
    for who, at, expected in (
        ("boss", page, {"drop_off_ticket", "inspection_slip"}),
        ("owner", page, set(PAPERS)),
        ("technician", page, set(PAPERS)),
        ("technician", sheet, set(PAPERS)),
    ):
        html = portal.client(who).get(at).content.decode()
        assert {name for name, url in urls.items() if f'href="{url}"' in html} == expected, (who, at)


def test_strangers_and_crews_get_what_is_theirs(portal, visit):
    line = arrive(visit)
    for who in ("neighbor", "stranger", "other_bench", "administrator"):
        for name in PAPERS:
            pk = line.pk if name == "inspection_slip" else visit.pk
            assert portal.client(who).get(reverse(name, args=[pk])).status_code == 404, (who, name)
    assert portal.client("boss").get(reverse("drop_off_costs", args=[visit.pk])).status_code == 404


def test_a_visit_called_off_has_no_ticket(portal, visit):
    with all_tenants():
        cancel(visit=visit, by=BENCH, now=timezone.now(), version=visit.version)
    assert portal.client("boss").get(reverse("drop_off_ticket", args=[visit.pk])).status_code == 404


def test_the_shops_own_work_stays_readable_after_the_arrangement(portal, visit):
    line = arrive(visit)
    finish(visit, "task.port", as_found="partly", done="serviced", minutes=30)
    portal.quarry.arrangements.update(until=TODAY - dt.timedelta(days=1))
    client = portal.client("technician")
    said = words(paper(client, "inspection_slip", line.pk))
    assert "partly blocked, serviced" in said
    assert "Last looked at" not in said
    assert "$45.00 in all" in words(paper(client, "drop_off_costs", visit.pk))


def test_paper_as_asked_black_on_white_and_within_its_edges(portal, visit):
    arrive(visit)
    client = portal.client("technician")
    for paper_size, mm in (("letter", (216, 279)), ("a4", (210, 297)), ("legal", (216, 279))):
        content = paper(client, "drop_off_ticket", visit.pk, paper=paper_size)
        assert sizes_mm(content) == {mm}
        for page in pictures(content, dpi=50):
            assert page.crop((page.width - 16, 0, page.width, page.height)).getextrema()[0] == 255


def test_as_many_queries_for_many_lines_as_for_one(portal, visit, monkeypatch):
    unset = SimpleNamespace(write_pdf=lambda **_how: b"%PDF-")
    monkeypatch.setattr("fleet.documents.HTML", lambda **_page: unset)
    line = arrive(visit)
    finish(visit, "task.port", as_found="ok", done="serviced", minutes=30)
    client = portal.client("technician")
    urls = [reverse(name, args=[line.pk if name == "inspection_slip" else visit.pk]) for name in PAPERS]
    few = [queries(client, url) for url in urls]
    with all_tenants():
        owner = {"contractor": portal.quarry, "shop": portal.shop, "drop_off": visit, "minutes": 5}
        for number in range(12):
            DropOffLine.objects.create(kit=f"Kit {number}", **owner)
    for number in range(6):
        factories.do_task(portal.units["due"], "clutch", days=number + 1)
    assert [queries(client, url) for url in urls] == few
