"""First checks of a complaint on the bench: what to look at next and why, one answer a tap."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from fleet.access import Access, allowed
from fleet.cautions import AIR, BLADE, COOL, EYES, FUEL, STILL, Caution, Point
from fleet.clock import now_at
from fleet.record.writing import Refused
from fleet.views.asking import go, show
from fleet.views.jobs import say_holds
from shop import access as bench_access
from shop.bench.checking import answer_check, answers_of, hold_of, own_findings, run_of
from shop.bench.reading import line_rows
from shop.first_checks import NONE, PRIOR_JOBS, Cause, Likelihood, Standing, Symptom, stand, symptoms
from shop.models import CheckAnswer, DropOffLine
from shop.views.asking import by_shop, press_of
from shop.views.stopped import stopped
from shop.vocabulary import CHECK_ANSWERS, FINE, FOUND_IT, IN_SHOP, LATER_CHECK, SYMPTOMS, TAKEN_BACK

_BUTTONS = (
    (FOUND_IT, gettext_lazy("This is it"), "main"),
    (FINE, gettext_lazy("Fine, go on"), ""),
    (LATER_CHECK, gettext_lazy("Cannot check it now"), "quiet"),
)
# Usual cautions by where the hands go; the complaint's own stands above them.
_FUEL_OPEN = frozenset({"fuel", "carburetor", "intake"})
_HOT = frozenset({"exhaust", "cylinder", "gearbox", "cooling", "crank"})
_TURNS = frozenset({"head", "guard", "gearbox", "drive_shaft", "clutch"})


@allowed("work_bench")
def first_checks(request: HttpRequest, pk: int) -> HttpResponse:
    """What to check next on this line, for the complaint it came in with or another one."""
    line, symptom = _asked(request, pk)
    context: dict[str, Any] = {
        "line": line,
        "unit": line.trimmer,
        "back": reverse("bench_line", args=[pk]),
        "choices": [(key, str(c.label), key == (symptom.key if symptom else "")) for key, c in SYMPTOMS.items()],
        "symptom": symptom,
        "taken": line.state in IN_SHOP,
        **stopped(request.access, line.trimmer, now_at(line.shop).date()),  # type: ignore[attr-defined]
    }
    if symptom is not None:
        context |= _standing(line, symptom)
    return show(request, "shop/first_checks.html", context)


@allowed("work_bench")
@require_POST
def first_checks_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """One answer to one check."""
    line, symptom = _asked(request, pk)
    if symptom is None:
        raise Http404
    cause, answer = request.POST.get("cause", ""), request.POST.get("answer", "")
    now = now_at(line.shop)
    try:
        answer_check(
            line=line, symptom=symptom.key, cause=cause, answer=answer, by=by_shop(request, press_of(request)),
            today=now.date(), now=now,
        )  # fmt: skip
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        if answer in (FOUND_IT, TAKEN_BACK) and line.trimmer is not None:
            say_holds(request, [line.trimmer])
    return go(request, f"{reverse('first_checks', args=[pk])}?symptom={symptom.key}")


def _asked(request: HttpRequest, pk: int) -> tuple[DropOffLine, Symptom | None]:
    """The line, and the complaint asked for: the one named, else what it came in with."""
    access: Access = request.access  # type: ignore[attr-defined]
    line = bench_access.line(access, pk, "work_bench")
    if line.trimmer is None:
        raise Http404
    named = request.POST.get("symptom") or request.GET.get("symptom") or ""
    if named and named not in symptoms():
        raise Http404
    if not named:
        (row,) = line_rows([line])
        named = row.check_in.symptom if row.check_in is not None else ""
    return line, symptoms()[named] if named else None


def _standing(line: DropOffLine, symptom: Symptom) -> dict[str, Any]:
    run = run_of(line, symptom.key)
    answers = answers_of(run)
    counts = own_findings(line.shop_id, symptom.key)
    elsewhere = run is not None and run.found == NONE
    given = {key: a.answer for key, a in answers.items() if key != NONE}
    now = stand(symptom, counts, given)  # type: ignore[arg-type]
    chance = {c.key: c for c in now.chances}
    found = symptom.cause(run.found) if run is not None and run.found and not elsewhere else None
    following = [] if elsewhere else [_check(symptom, symptom.cause(key), chance[key]) for key in now.order]
    return {
        "label": SYMPTOMS[symptom.key].label,
        "stop_use": symptom.stop_use,
        "answer": _answer_words(now, found, elsewhere, following),
        "found": found,
        "found_hold": bool(found and hold_of(symptom.key, found)),
        "found_use": bool(found and found.about_use),
        "next": following[0] if following else None,
        "rest": following[1:],
        "caution": _caution(symptom, symptom.cause(following[0]["key"])) if following else Caution(symptom.caution),
        "buttons": _BUTTONS[1:] if found else _BUTTONS,
        "given": [_given(symptom, answer) for answer in answers.values()],
        "elsewhere": elsewhere,
        "none_key": NONE,
        "none_press": uuid.uuid4(),
        "ask_elsewhere": now.state in ("exhausted", "look_elsewhere") and not elsewhere and found is None,
        "basis": _basis(counts),
        "chances": [
            {
                "words": _("something not in the table") if c.key == NONE else symptom.cause(c.key).text,
                "percent": round(100 * c.probability),
                "table": round(100 * c.table),
                "own": c.own,
            }
            for c in now.chances
        ],
    }


def _check(symptom: Symptom, cause: Cause, chance: Likelihood) -> dict[str, Any]:
    return {
        "key": cause.key,
        "press": uuid.uuid4(),
        "text": cause.text,
        "check": cause.check,
        "minutes": round(cause.minutes),
        "percent": round(100 * chance.probability),
        "safety": cause.safety,
        "carburetor": cause.opens_carburetor,
    }


def _answer_words(now: Standing, found: Cause | None, elsewhere: bool, following: list[dict[str, Any]]) -> str:
    if elsewhere:
        return _("It was something that is not in the table. The next ones learn from that, too.")
    if found is not None and following:
        return _("Found. What can hurt is looked at before it goes back to work:")
    if found is not None:
        return _("Found. Record the repair with the bench work.")
    if now.state == "look_elsewhere":
        return _("More likely than not it is nothing in the table any more: look elsewhere before checking on.")
    if not following:
        return _("Every check is answered, and the cause is still open.")
    return ngettext(
        "%(n)s check is left, about %(minutes)s min on average until the cause is met.",
        "%(n)s checks are left, about %(minutes)s min on average until the cause is met.",
        len(following),
    ) % {"n": len(following), "minutes": round(now.minutes_to_go)}


def _given(symptom: Symptom, answer: CheckAnswer) -> dict[str, Any]:
    return {
        "key": answer.cause,
        "press": uuid.uuid4(),
        "text": _("something not in the table") if answer.cause == NONE else symptom.cause(answer.cause).text,
        "words": CHECK_ANSWERS[answer.answer],
        "who": answer.author,
        "at": answer.at,
        "found": answer.answer == FOUND_IT,
    }


def _basis(counts: dict[str, int]) -> str:
    own = sum(counts.values())
    start = _("Chances start from common practice with no source, worth %(n)s jobs.") % {"n": round(PRIOR_JOBS)}
    learned = ngettext(
        "This shop has found the cause of this complaint in %(n)s unit made ready.",
        "This shop has found the cause of this complaint in %(n)s units made ready.",
        own,
    ) % {"n": own}
    return f"{start} {learned if own else _('This shop has no finding of its own yet.')}"


def _caution(symptom: Symptom, cause: Cause) -> Caution:
    """The complaint's own caution, and the usual ones for where the hands go at this check."""
    points: list[Point] = [STILL]
    if cause.component in _FUEL_OPEN:
        points.append(FUEL)
    if cause.component in _HOT:
        points.append(COOL)
    if cause.component in _TURNS:
        points.append(BLADE)
    points += [AIR, EYES]
    return Caution(symptom.caution, tuple(points))
