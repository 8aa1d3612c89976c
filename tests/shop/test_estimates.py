"""Estimates: what they come to, who can open and answer them, and what an answer changes."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from decimal import Decimal

import pytest
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet.models import Membership, UnitReview
from fleet.record.writing import Refused
from shop.bench.arriving import Told
from shop.bench.estimate_addresses import token_of
from shop.bench.estimate_mail import send_estimates
from shop.bench.estimating import Asked, agreed_on, answer_estimate, send_estimate, sum_for, why_over
from shop.bench.working import add_job
from shop.estimate_sums import BY_ADDRESS, TELEPHONE, agreed_after, labor_of
from shop.models import CheckIn, Estimate, EstimateAddress, EstimateAnswer, VisitEvent
from tests import factories
from tests.fleet.views.pages import text
from tests.shop.bench_rows import bench_photo
from tests.shop.test_bench_work import arrive, bench, by, finish, job_of

pytestmark = pytest.mark.django_db
__all__ = ["bench", "factories"]
SWAP = Asked("replace", 12, Decimal(26))


@pytest.fixture(autouse=True)
def counted_alone(settings, request):
    """Looks are limited by the address they come from, so each test counts its own."""
    settings.CACHES = {
        "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": request.node.nodeid}
    }


@pytest.fixture
def told(bench, settings):
    """A starter fault at the bench, $20 agreed; the owner can be written to."""
    settings.PUBLIC_URL = "https://portal.example"
    bench.people["owner"].email = "owner@quarry.example"
    bench.people["owner"].save()
    line = arrive(bench, told=Told(symptom="hard_or_no_pull", fix_up_to=Decimal(20), phone="555-0101", fuel="old"))
    bench.job = job_of(line, "fault.starter")
    return bench


def send(portal, asked=SWAP, letter=True, job=None, press=None) -> Estimate:
    return send_estimate(
        job=job or portal.job, asked=asked, mail=letter, portal="https://portal.example/", by=by(portal, press),
        now=timezone.localtime(),
    )  # fmt: skip


def address_of(estimate) -> str:
    return reverse("estimate", args=[token_of(EstimateAddress.objects.get(estimate=estimate))])


def answer(portal, estimate, said, how=BY_ADDRESS, name="Quarry Owner"):
    return answer_estimate(
        estimate=Estimate.objects.select_related("line__drop_off__shop", "line__trimmer").get(pk=estimate.pk),
        answer=said, how=how, said_by=name, author=portal.people["owner"], now=timezone.now(),
    )  # fmt: skip


def test_labor_and_the_sum_agreed_in_plain_arithmetic():
    # 20 minutes at $75 an hour: shared/trade check value of labor, common practice.
    assert labor_of(20, Decimal(75)) == Decimal("25.00")
    assert agreed_after(None, Decimal(40)) == 40
    assert agreed_after(Decimal(100), Decimal(40)) == 100


def test_the_total_holds_everything_on_the_line_and_nothing_twice(told):
    rate = told.quarry.labour_rate
    port = job_of(told.job.line, "task.port")
    sums = sum_for(told.job, 12, Decimal(26))
    assert [(work.job, work.how) for work in sums.other] == [("task.port", "expected")]
    assert sums.total == 26 + rate * (12 + port.minutes) / 60
    finish(told, port, as_found="clear", done="serviced", minutes=10, parts_cost=Decimal(4))
    sums = sum_for(told.job, 12, Decimal(26))
    assert [(work.job, work.minutes, work.how) for work in sums.other] == [("task.port", 10, "done")]
    assert sums.total == 26 + 4 + rate * 22 / 60


def test_the_letter_goes_to_the_owner_with_figures_and_an_address_that_opens_signed_out(told):
    unit = told.job.line.trimmer
    UnitReview.objects.update_or_create(
        trimmer=unit,
        defaults={"contractor_id": unit.contractor_id, "advice": "keep", "facts": {}, "spend_limit": 120.0},
    )
    made = send(told, Asked("replace", 12, Decimal(26), "generic", rests=True, note="Cord and spring are gone."))
    assert send_estimates() == 1
    assert send_estimates() == 0
    (letter,) = mail.outbox
    assert letter.to == ["owner@quarry.example"]
    for words in (f"About ${made.total}", "$20.00 agreed", "up to $120.00", "Not to be run", "Cord and spring"):
        assert words in letter.body, words
    (link,) = re.findall(r"https://portal\.example(/\S+)", letter.body)
    page = text(Client().get(link))
    for words in (f"About ${made.total}", "Yes, go ahead", "$120.00", "Not to be run", "The operator's manual"):
        assert words in page, words
    assert Client().get(link)["Referrer-Policy"] == "same-origin"
    assert not EstimateAnswer.objects.exists(), "looking decides nothing"


def test_yes_is_kept_once_raises_the_sum_and_shows_on_the_job(told):
    made = send(told)
    link = address_of(made)
    for _click in range(2):
        assert Client().post(link, {"answer": "yes"}).status_code == 302
    Client().post(link, {"answer": "no"})
    kept = EstimateAnswer.objects.get()
    assert (kept.answer, kept.how, kept.author, kept.total) == ("yes", "address", told.people["owner"], made.total)
    assert agreed_on(told.job.line) == made.total == kept.fix_up_to
    said = CheckIn.objects.filter(line=told.job.line)
    assert (said.count(), said.last().fuel, said.last().phone) == (2, "old", "555-0101")
    assert VisitEvent.objects.filter(what="estimate").count() == 2
    page = text(told.client("technician").get(reverse("bench_line", args=[told.job.line_id])))
    assert "The owner said yes" in page
    assert f"${made.total}" in page
    assert "To change your answer, call the shop" in text(Client().get(link))


def test_no_leaves_the_sum_and_offers_to_leave_the_job_out(told):
    made = send(told)
    Client().post(address_of(made), {"answer": "no"})
    assert agreed_on(told.job.line) == 20
    page = told.client("technician").get(reverse("bench_job", args=[told.job.pk]))
    assert page.context["left"]["why"].value() == "The owner said no."


def test_addresses_are_not_guessed_nor_used_when_over(told):
    made = send(told)
    link = address_of(made)
    token = link.strip("/").split("/")[-1]
    nonce, _dot, signature = token.partition(".")
    # Neither what the table holds, nor a changed number, nor somebody else's signature.
    for guess in (nonce, f"{nonce}.", f"{nonce[:-1]}x.{signature}", f"{nonce}.{signature[::-1]}", "A" * 22):
        url = reverse("estimate", args=[guess])
        assert (Client().get(url).status_code, Client().post(url, {"answer": "yes"}).status_code) == (404, 404)
    Estimate.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    assert Client().post(link, {"answer": "yes"}).status_code == 404
    page = text(Client().get(link), 404)
    assert "It has run out" in page
    assert str(made.total) not in page
    assert not EstimateAnswer.objects.exists()


def test_a_post_without_its_token_from_the_page_is_refused(told):
    strict = Client(enforce_csrf_checks=True)
    link = address_of(send(told))
    assert strict.post(link, {"answer": "yes"}).status_code == 403
    form = strict.get(link).content.decode()
    (csrf,) = re.findall(r'name="csrfmiddlewaretoken" value="(\w+)"', form.split("<main", 1)[1])
    assert strict.post(link, {"answer": "yes", "csrfmiddlewaretoken": csrf}).status_code == 302


def test_guessing_is_stopped_after_sixty_looks(told):
    link = address_of(send(told))
    codes = [Client().get(reverse("estimate", args=["A" * 22])).status_code for _try in range(60)]
    assert codes == [404] * 60
    assert Client().get(link).status_code == 429


def test_a_newer_estimate_ends_the_older_and_its_waiting_letter(told):
    older = send(told)
    link = address_of(older)
    newer = send(told, Asked("assembly", 12, Decimal(46)))
    assert Client().post(link, {"answer": "yes"}).status_code == 404
    with pytest.raises(Refused, match="newer"):
        answer(told, older, "yes")
    assert send_estimates() == 1
    assert f"${newer.total}" in mail.outbox[0].body
    assert Client().post(address_of(newer), {"answer": "yes"}).status_code == 302
    assert "The owner said yes" in text(Client().get(address_of(newer)))


def test_estimates_of_two_faults_of_a_unit_stand_beside_each_other(told):
    first = send(told)
    other = add_job(line=told.job.line, job="fault.gearbox", author=None, now=timezone.now())
    other.line = told.job.line
    second = send(told, Asked("repair", 45, Decimal(10)), job=other)
    assert send_estimates() == 2
    visit = text(told.client("owner").get(reverse("drop_off", args=[told.job.line.drop_off_id])))
    assert visit.count("Answer the estimate") == 2
    for link, said in ((address_of(first), "yes"), (address_of(second), "no")):
        assert Client().post(link, {"answer": said}).status_code == 302
    assert [(kept.estimate_id, kept.answer) for kept in EstimateAnswer.objects.order_by("pk")] == [
        (first.pk, "yes"), (second.pk, "no"),
    ]  # fmt: skip
    assert agreed_on(told.job.line) == first.total


def test_the_page_shows_the_pictures_of_the_line_while_it_stands(told):
    photo = bench_photo(told.job.line)
    stranger = bench_photo(arrive(told, unit="fresh", told=Told(symptom="fuel_leak")))
    made = send(told)
    link = address_of(made)
    token = link.strip("/").split("/")[-1]
    picture = reverse("estimate_picture", args=[token, photo.pk])
    assert picture in Client().get(link).content.decode()
    shown = Client().get(picture)
    assert (shown["Content-Type"], shown["Cache-Control"]) == ("image/jpeg", "private, no-store")
    assert Client().get(reverse("estimate_picture", args=[token, stranger.pk])).status_code == 404
    assert Client().get(reverse("estimate_picture", args=[token[:-1] + "!", photo.pk])).status_code == 404
    inside = reverse("bench_photo", args=[told.job.line_id, photo.pk])
    for who, page in (("owner", "estimate_owner"), ("technician", "bench_estimate")):
        assert inside in told.client(who).get(reverse(page, args=[made.pk])).content.decode(), who
    Estimate.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    assert Client().get(picture).status_code == 404


def test_one_press_sends_one(told):
    press = uuid.uuid4()
    assert send(told, press=press) == send(told, press=press)
    assert Estimate.objects.count() == 1


def test_an_address_ends_with_its_owners_role_and_with_the_work(told):
    made = send(told)
    link = address_of(made)
    Membership.objects.filter(user=told.people["owner"]).update(ended_on=dt.date.today())
    assert Client().get(link).status_code == 404
    Membership.objects.filter(user=told.people["owner"]).update(ended_on=None)
    assert Client().get(link).status_code == 200
    finish(told, told.job, component="starter", done="repaired", minutes=9)
    assert "finished with this" in text(Client().get(link), 404)
    assert why_over(made, timezone.now(), answered=True) == ""


def test_what_waits_in_another_estimate_is_in_the_next_ones_total(told):
    send(told)
    line = told.job.line
    other = add_job(line=line, job="fault.gearbox", author=None, now=timezone.now())
    other.line = line
    made = send(told, Asked("repair", 45, Decimal(10)), job=other)
    assert ["fault.starter", 12, str(26 + labor_of(12, told.quarry.labour_rate)), "told"] in made.other


def test_an_owner_signed_in_answers_on_the_same_page_and_no_one_else_does(told):
    made = send(told)
    url = reverse("estimate_owner", args=[made.pk])
    visit = reverse("drop_off", args=[told.job.line.drop_off_id])
    assert "Answer the estimate" in text(told.client("owner").get(visit))
    assert "estimate" not in text(told.client("boss").get(visit)).replace("estimate made", "").split("What happened")[0]
    for who in ("boss", "technician", "manager", "neighbor", "stranger"):
        assert told.client(who).post(url, {"answer": "yes"}).status_code == 404, who
    assert told.client("owner").post(url, {"answer": "maybe"}).status_code == 302
    assert not EstimateAnswer.objects.exists()
    told.client("owner").post(url, {"answer": "no"})
    assert EstimateAnswer.objects.get().how == "signed_in"


def test_what_the_owner_says_on_the_telephone_is_written_down_with_the_name(told):
    made = send(told, letter=False)
    assert not EstimateAddress.objects.exists()
    client, url = told.client("technician"), reverse("bench_estimate", args=[made.pk])
    assert client.post(url, {"answer": "yes", "said_by": ""}).status_code == 422
    client.post(url, {"answer": "yes", "said_by": "R. Quarry"})
    kept = EstimateAnswer.objects.get()
    assert (kept.how, kept.said_by, kept.author) == (TELEPHONE, "R. Quarry", told.people["technician"])
    page = text(client.get(url))
    assert "R. Quarry" in page
    assert f"Written down by {told.people['technician']}" in page


def test_the_bench_fills_in_from_repair_or_swap_and_bad_figures_are_answered(told):
    client = told.client("technician")
    ways = reverse("repair_or_swap", args=[told.job.pk])
    row = client.get(ways, {"parts-replace": "36", "minutes-replace": "12"}).context["rows"][0]
    page = client.get(row["estimate_url"])
    assert "in all" in text(page)
    url = reverse("estimate_send", args=[told.job.pk])
    press = {"client_entry_id": str(uuid.uuid4()), "way": "replace", "minutes": "12"}
    assert "Write what the parts cost" in text(client.post(url, press | {"mail": "1", "parts": ""}), 422)
    looked = client.post(url, press | {"look": "1", "parts": "36"})
    assert "above the $20.00" in text(looked)
    assert not Estimate.objects.exists()
    assert client.post(url, press | {"mail": "1", "parts": "36"}).status_code == 302
    assert Estimate.objects.get().way == "replace"
    told.people["owner"].email = ""
    told.people["owner"].save()
    press["client_entry_id"] = str(uuid.uuid4())
    assert "No owner has an e-mail address" in text(client.post(url, press | {"mail": "1", "parts": "36"}), 422)


def test_only_a_fault_in_the_shop_has_an_estimate_and_queries_stay_the_same(told):
    client = told.client("technician")
    plain = job_of(told.job.line, "task.port")
    assert client.get(reverse("estimate_send", args=[plain.pk])).status_code == 404
    line = reverse("bench_line", args=[told.job.line_id])
    send(told)
    client.get(line)
    with CaptureQueriesContext(connection) as few:
        client.get(line)
    for parts in (30, 40, 50):
        send(told, Asked("replace", 12, Decimal(parts)))
    with CaptureQueriesContext(connection) as many:
        client.get(line)
    assert len(many) == len(few)
