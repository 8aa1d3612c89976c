"""Letters about drop-offs: kept as rows with the change they tell of, and sent afterwards until they are gone.

A letter says what is true when it leaves. Whoever has no e-mail address is not written to; the row says how many were.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import F, Q
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from fleet.clock import today_at
from fleet.models import Membership, Role, User
from shop.bench.words import day_words, job_words
from shop.models import DropOff, DropOffLine, LineJob, VisitMail
from shop.vocabulary import AT_YARD, CANCELLED, INTAKE, KIT, PICKED_UP

log = logging.getLogger(__name__)

MOST_TRIES = 8
AT_ONCE = 200


def send_waiting() -> int:
    """Send every letter that waits; returns how many went. Safe to run twice, and beside itself."""
    waiting = VisitMail.objects.known().filter(sent_at__isnull=True, tries__lt=MOST_TRIES).order_by("pk")
    sent = 0
    for pk, tries in list(waiting.values_list("pk", "tries")[:AT_ONCE]):
        # Taken by one sender: another one that read the same row finds its tries changed.
        mine = VisitMail.objects.known().filter(pk=pk, tries=tries, sent_at__isnull=True)
        if mine.update(tries=F("tries") + 1):
            sent += _send(pk)
    return sent


def _send(pk: int) -> int:
    rows = VisitMail.objects.known().select_related("drop_off__contractor", "drop_off__shop__bench", "drop_off__crew")
    letter = rows.get(pk=pk)
    people = recipients(letter.drop_off)
    try:
        for person in people:
            message_to(person, letter).send()
    except OSError:
        log.exception("A letter about a drop-off could not be mailed")
        return 0
    VisitMail.objects.known().filter(pk=pk).update(sent_at=timezone.now(), recipients=len(people))
    return 1


def recipients(visit: DropOff) -> list[User]:
    """The crew's bosses who have an address; else the contractor's owners."""
    today = today_at(visit.contractor)
    standing = Membership.objects.filter(Q(ended_on__isnull=True) | Q(ended_on__gt=today)).exclude(user__email="")
    bosses = standing.filter(crew=visit.crew_id, role=Role.CREW_BOSS) if visit.crew_id else standing.none()
    owners = standing.filter(contractor=visit.contractor_id, role=Role.OWNER)
    found = list(bosses.select_related("user").order_by("pk")) or list(owners.select_related("user").order_by("pk"))
    return list({m.user_id: m.user for m in found}.values())


def message_to(person: User, letter: VisitMail) -> EmailMessage:
    """The letter in this person's language."""
    visit = letter.drop_off
    with translation.override(person.language or settings.LANGUAGE_CODE):
        lines = list(DropOffLine.objects.known().filter(drop_off=visit).select_related("trimmer").order_by("pk"))
        about = [line for line in lines if line.state != CANCELLED] or lines
        if letter.kind in ("ready", "unclaimed"):
            about = [line for line in about if line.ready_at is not None and line.state != PICKED_UP]
        bench = getattr(visit.shop, "bench", None)
        path = reverse("drop_off", args=[visit.pk])
        context = {
            "person": person,
            "visit": visit,
            "shop": visit.shop,
            "bench": bench,
            "day": day_words(visit.day),
            "offer_until": day_words(visit.offer_until) if visit.offer_until else "",
            "at_yard": visit.place == AT_YARD,
            "lines": _lines(about),
            "link": f"{settings.PUBLIC_URL}{path}" if settings.PUBLIC_URL else "",
        }
        text = render_to_string(f"email/visit_{letter.kind}.txt", context).strip() + "\n"
        return EmailMessage(_subject(letter.kind, visit), text, to=[person.email])


def _lines(lines: Iterable[DropOffLine]) -> list[tuple[str, str]]:
    lines = list(lines)
    jobs: dict[int, list[str]] = {}
    rows = LineJob.objects.known().filter(line__in=[line.pk for line in lines]).exclude(job__in=(INTAKE, KIT))
    for row in rows.order_by("pk"):
        jobs.setdefault(row.line_id, []).append(job_words(row.job))
    return [(line.name, ", ".join(jobs.get(line.pk, []))) for line in lines]


def _subject(kind: str, visit: DropOff) -> str:
    words = {
        "offer": _("%(shop)s offers %(day)s"),
        "booking": _("Booked for %(day)s at %(shop)s"),
        "moved": _("Moved to %(day)s at %(shop)s"),
        "cancelled": _("Called off: %(day)s at %(shop)s"),
        "ready": _("Ready at %(shop)s"),
        "no_show": _("Not seen on %(day)s at %(shop)s"),
        "unclaimed": _("Still waiting for you at %(shop)s"),
    }[kind]
    return " ".join((words % {"shop": visit.shop, "day": day_words(visit.day)}).split())
