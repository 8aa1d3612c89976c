"""Keep or replace, as decided: kept with the advice and figures of that day."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import ReviewDecision, Trimmer, UnitReview
from fleet.record.writing import By, Refused, lock_units, old_form

LONGEST_WHY = 200


def decide(*, unit: Trimmer, decided: str, why: str, by: By, today: dt.date) -> ReviewDecision:
    """Record what was decided about a unit in use. A change of mind is another decision."""
    why = why.strip()
    if decided not in dict(ReviewDecision.DECIDED):
        raise Refused(_("Choose one of the answers offered."), "decided", unit=unit)
    if len(why) > LONGEST_WHY:
        raise Refused(_("Say it in fewer words."), "why", unit=unit)
    with transaction.atomic():
        unit = lock_units([unit.pk])[unit.pk]
        if by.client_entry_id is not None:
            before = ReviewDecision.objects.filter(client_entry_id=by.client_entry_id).first()
            if before is not None:
                if (before.trimmer_id, before.decided, before.why, before.author) != (unit.pk, decided, why, by.author):
                    raise Refused(old_form(), unit=unit)
                return before
        if unit.retired_on is not None:
            raise Refused(_("%s has left service; there is nothing to decide.") % unit.tag, "decided", unit=unit)
        review = UnitReview.objects.filter(trimmer=unit).first()
        return ReviewDecision.objects.create(
            contractor_id=unit.contractor_id,
            trimmer=unit,
            decided_on=today,
            decided=decided,
            why=why,
            advice="" if review is None else review.advice,
            figures={} if review is None else _figures(review),
            author=by.author,
            client_entry_id=by.client_entry_id,
        )


def _figures(review: UnitReview) -> dict[str, float | int | None]:
    return {
        "hours": round(review.facts["hours"], 1),
        "repairs": review.facts["repairs"],
        "keep_cost_next_season": review.keep_cost_next_season,
        "replace_cost_per_season": review.replace_cost_per_season,
        "spend_limit": review.spend_limit,
    }
