"""Letters with an estimate, one to each owner who has an e-mail address; sent until they are gone."""

from __future__ import annotations

import logging

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import Exists, OuterRef
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from shop.bench.estimate_addresses import token_of
from shop.bench.estimate_words import estimate_words
from shop.bench.mailing import send_each
from shop.models import Estimate, EstimateAddress

log = logging.getLogger(__name__)


def send_estimates() -> int:
    """Send every letter that waits; returns how many went. Safe to run twice, and beside itself.

    A newer estimate's letter tells of it: the older one's is not sent any more, nor one that has run out.
    """
    newer = Estimate.objects.known().filter(job=OuterRef("estimate__job"), pk__gt=OuterRef("estimate"))
    standing = EstimateAddress.objects.known().filter(~Exists(newer), estimate__expires_at__gt=timezone.now())
    return send_each(standing, _send)


def _send(pk: int) -> int:
    related = (
        "estimate__line__drop_off__contractor", "estimate__line__drop_off__shop__bench",
        "estimate__line__trimmer__model", "person",
    )  # fmt: skip
    address = EstimateAddress.objects.known().select_related(*related).get(pk=pk)
    try:
        estimate_letter(address).send()
    except OSError:
        log.exception("An estimate could not be mailed")
        return 0
    EstimateAddress.objects.known().filter(pk=pk).update(sent_at=timezone.now())
    return 1


def estimate_letter(address: EstimateAddress) -> EmailMessage:
    """The letter in its person's language."""
    estimate, person = address.estimate, address.person
    visit = estimate.line.drop_off
    with translation.override(person.language or settings.LANGUAGE_CODE):
        link = (settings.PUBLIC_URL or estimate.portal) + reverse("estimate", args=[token_of(address)])
        context = {
            "person": person, "shop": visit.shop, "bench": getattr(visit.shop, "bench", None), "link": link,
            **estimate_words(estimate),
        }  # fmt: skip
        text = render_to_string("email/estimate.txt", context).strip() + "\n"
        subject = _("Estimate for %(unit)s from %(shop)s") % {"unit": estimate.line.name, "shop": visit.shop}
        return EmailMessage(" ".join(subject.split()), text, to=[person.email])
