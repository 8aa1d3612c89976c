"""Letters about drop-offs: kept as rows with the change they tell of, and sent afterwards until they are gone.

A letter says what is true when it leaves. Whoever has no e-mail address is not written to; the row says how many were.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import F
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from fleet.clock import today_at
from fleet.models import Contractor, Membership, Role, User
from fleet.models.people import in_office
from shop.bench.words import day_words, job_words
from shop.models import DropOff, DropOffLine, LineJob, VisitMail
from shop.vocabulary import AT_YARD, CANCELLED, INTAKE, KIT, PICKED_UP

log = logging.getLogger(__name__)

MOST_TRIES = 8
AT_ONCE = 200


def send_waiting() -> int:
    """Send every letter that waits; returns how many went. Safe to run twice, and beside itself."""
    return send_each(VisitMail.objects.known(), _send)


def send_each(letters: Any, send: Callable[[int], int]) -> int:
    """Send those of the letters that wait, by ``send`` with the pk of each; returns how many went.

    The rows know ``sent_at`` and ``tries``. Whoever runs beside another sends none twice.
    """
    waiting = letters.filter(sent_at__isnull=True, tries__lt=MOST_TRIES).order_by("pk")
    sent = 0
    for pk, tries in list(waiting.values_list("pk", "tries")[:AT_ONCE]):
        # Taken by one sender: another one that read the same row finds its tries changed.
        if letters.filter(pk=pk, tries=tries, sent_at__isnull=True).update(tries=F("tries") + 1):
            sent += send(pk)
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
    bosses = _reached(visit.contractor, crew=visit.crew_id, role=Role.CREW_BOSS) if visit.crew_id else []
    return bosses or owners_of(visit.contractor)


def owners_of(contractor: Contractor) -> list[User]:
    """Owners in office who have an e-mail address."""
    return _reached(contractor, role=Role.OWNER)


def _reached(contractor: Contractor, **held: Any) -> list[User]:
    rows = Membership.objects.filter(in_office(today_at(contractor)), contractor=contractor, **held).exclude(
        user__email=""
    )
    return list({m.user_id: m.user for m in rows.select_related("user").order_by("pk")}.values())


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
