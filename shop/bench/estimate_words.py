"""An estimate as its letter and its pages tell it."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.clock import now_at
from shop.bench.words import day_words, job_words
from shop.cautions import RESTS
from shop.estimate_sums import DONE, ESTIMATED
from shop.models import Estimate, EstimateAnswer
from shop.repair_options import way_words


def estimate_words(estimate: Estimate) -> dict[str, Any]:
    """Its figures in words. Needs the line with its shop and unit loaded."""
    zone = now_at(estimate.line.shop).tzinfo
    until = estimate.expires_at.astimezone(zone).date() - dt.timedelta(days=1)
    return {
        "estimate": estimate,
        "unit": estimate.line.trimmer,
        "name": estimate.line.name,
        "job": job_words(estimate.job_key),
        "way": way_words(estimate.way, estimate.kind),
        "other": [_other(*row) for row in estimate.other],
        "until": day_words(until),
        "sent_on": day_words(estimate.made_at.astimezone(zone).date()),
        "above": None if estimate.agreed is None else max(estimate.total - estimate.agreed, Decimal(0)),
        "over_worth": estimate.spend_limit is not None and estimate.total > estimate.spend_limit,
        "over_half": estimate.half_price is not None and estimate.total > estimate.half_price,
        "caution": RESTS if estimate.rests else None,
    }


def answer_words(answer: EstimateAnswer, estimate: Estimate) -> dict[str, Any]:
    """Who answered what, when and how."""
    at = answer.at.astimezone(now_at(estimate.line.shop).tzinfo)
    return {
        "yes": answer.answer == "yes",
        "who": answer.said_by,
        "how": answer.get_how_display(),
        # Translators: a moment in a sentence, in Django's date format letters
        "at": date_format(at, _("M j, H:i")),
        "total": answer.total,
        "fix_up_to": answer.fix_up_to,
        "written_by": answer.author if answer.how == "telephone" else None,
    }


def _other(job: str, minutes: int, cost: str, how: str) -> dict[str, Any]:
    words = {DONE: _("done"), ESTIMATED: _("as told before")}.get(how, _("usual minutes, parts not counted"))
    return {"job": job_words(job), "minutes": minutes, "cost": Decimal(cost), "how": words}
