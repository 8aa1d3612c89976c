"""What a model's record says in sentences: what it dies of, when to act, what that rests on, and how sure it is."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from fleet.upkeep.fit_records import FAILURE_FINDING, LOOK, POOLED, FitRecord, MisfitBin
from fleet.upkeep.record_charts import TableRow, cost_points, flat_part, judged, spans_outside
from fleet.upkeep.record_page import SOME_HOURS, ComponentLine, ModelPage
from fleet.vocabulary import COMPONENTS, TASKS

#: Components named in the first sentence.
NAMED = 3
#: Seen and expected failures this many Poisson deviations apart are told.
_APART = 2.0
_OWN, _BORROWED = 0.25, 0.75


def hours_words(value: float) -> str:
    """Hours as they are said: whole ones from 10 up, a tenth below where it matters."""
    whole = abs(value - round(value)) < 0.05 or value >= 100
    return number_format(round(value) if whole else round(value, 1), decimal_pos=0 if whole else 1, force_grouping=True)


def number_words(value: float, places: int = 1) -> str:
    """A figure with so many places."""
    return number_format(round(value, places), decimal_pos=places, force_grouping=True)


def percent_words(share: float) -> str:
    """A share of 100."""
    return _("%(share)s %%") % {"share": number_format(round(100 * share), decimal_pos=0)}


def money_words(amount: float, places: int = 2) -> str:
    """Dollars."""
    return _("$%(amount)s") % {"amount": number_format(round(amount, places), decimal_pos=places, force_grouping=True)}


def failures_words(line: ComponentLine) -> str:
    """How often the component failed, and over how many hours."""
    counts = line.counts
    if counts.hours < SOME_HOURS and not counts.events:
        return _("no hours on record")
    words = ngettext("%(n)s failure in %(hours)s h", "%(n)s failures in %(hours)s h", counts.events)
    if not counts.events:
        words = _("no failure in %(hours)s h")
    return words % {"n": number_words(counts.events, 0), "hours": hours_words(counts.hours)}


def dies_of(page: ModelPage) -> list[tuple[str, str]]:
    """The components it dies of most, each with its count."""
    named = []
    for number, line in enumerate(page.failed[:NAMED]):
        count = number_words(line.counts.events, 0)
        named.append((str(COMPONENTS[line.component]), failures_words(line) if number == 0 else count))
    return named


def nothing_words(page: ModelPage) -> str:
    """Why there is nothing to die of; empty where there is."""
    if not page.scanned:
        return _("No scan has run yet: it learns from the ledger every night.")
    if page.hours < SOME_HOURS:
        return _("No hours of it are on record yet, so the manual's intervals stand.")
    if not page.failed:
        return _("No failure on record in %(hours)s h. The manual's intervals stand.") % {
            "hours": hours_words(page.hours)
        }
    return ""


def act_words(line: ComponentLine) -> str:
    """When to act on the component, against the manual's word for it."""
    task, chosen, manual = line.fit.task, line.interval_hours, line.manual_hours
    if task is None or chosen is None or manual is None:
        return _("No routine job renews it.")
    values = {"job": TASKS[task].label, "hours": hours_words(chosen), "manual": hours_words(manual)}
    practice = line.manual_source == "practice"
    if line.shortened and practice:
        return _("%(job)s: every %(hours)s h, not the usual %(manual)s.") % values
    if line.shortened:
        return _("%(job)s: every %(hours)s h, not the manual's %(manual)s.") % values
    if practice:
        return _("%(job)s: every %(hours)s h, common practice, check the manual.") % values
    return _("%(job)s: every %(hours)s h, as the manual says.") % values


def basis_words(line: ComponentLine) -> list[str]:
    """What the interval rests on, and what it would cost to do otherwise."""
    choice, interval = line.choice, line.interval
    if line.fit.task is None or line.interval_hours is None:
        return []
    said = []
    if line.waiting is not None:
        return [_("For now: what the record says at the present figures is worked out tonight.")]
    if not line.shortened:
        said.append(_("The record gives no ground to do it sooner, and never says to do it later than the manual."))
    elif choice is not None and choice.basis == POOLED:
        said.append(_("Sooner on the word of other models' failures: this one has none of its own in the record."))
    if interval is not None and interval.method in (LOOK, FAILURE_FINDING):
        said.append(_("Its failures show only when somebody looks: the interval keeps the chance of a hidden one low."))
    if choice is not None and choice.probability is not None and choice.probability_manual is not None:
        words = _("Chance of a failure from one time to the next: %(here)s, at the manual's interval %(manual)s.")
        said.append(
            words % {"here": percent_words(choice.probability), "manual": percent_words(choice.probability_manual)}
        )
    if choice is not None and choice.limited_by_risk and interval is not None:
        said.append(
            _("Held down to keep that chance within %(limit)s.") % {"limit": percent_words(interval.risk_limit)}
        )
    if line.shortened and choice is not None and choice.cheaper is not None:
        said.append(_("Cheaper than the manual's in %(share)s of what the record allows.") % {
            "share": percent_words(choice.cheaper)
        })  # fmt: skip
    return said + cost_words(line)


def whose_words(contractor: str) -> str:
    """At whose rates the intervals of a page stand, so that they are not held against a unit's own."""
    if contractor:
        return _("With the guard on, at the rates and the risk that %(contractor)s set.") % {"contractor": contractor}
    return _(
        "With the guard on, at the rates and the risk that most units of a model run under: a contractor with others, "
        "or with a spare on the trailer, gets another interval."
    )


def cost_words(line: ComponentLine) -> list[str]:
    """What each hour more or less would cost."""
    points = cost_points(line)
    if len(points) < 2 or line.interval_hours is None:
        return []
    here = min(points, key=lambda p: abs(p[0] - line.interval_hours))  # type: ignore[operator]
    manual, said = points[-1], []
    if line.shortened:
        more = 100 * (manual[1] - here[1])
        said.append(
            _("At the manual's interval it would cost %(more)s more per 100 engine hours.")
            % {"more": money_words(more)}
            if more > 0
            else _("At the manual's interval it would cost no more; the risk limit alone holds it down.")
        )
    flat = flat_part(line)
    if flat and flat[0] < flat[1]:
        words = _("Between %(low)s and %(high)s h the cost is the same within 2 %%.")
        said.append(words % {"low": hours_words(flat[0]), "high": hours_words(flat[1])})
    return said


def rests_on(line: ComponentLine) -> list[str]:
    """The counts behind the figures, and what was borrowed."""
    fit, counts, said = line.fit, line.counts, []
    if counts.whole and fit.units:
        units = ngettext("%(n)s unit", "%(n)s units", fit.units) % {"n": number_words(fit.units, 0)}
        words = _("Rests on %(failures)s, seen on %(units)s.")
        said.append(words % {"failures": failures_words(line), "units": units})
    elif counts.whole:
        said.append(_("Rests on %(failures)s.") % {"failures": failures_words(line)})
    else:
        words = _("In your own record: %(failures)s. The fit rests on others' units too; their counts are not shown.")
        said.append(words % {"failures": failures_words(line)})
    if fit.drawn is not None:
        words = {
            0: _("It stands on its own record: %(share)s borrowed from the other models."),
            1: _("Part of it is borrowed from the other models: %(share)s."),
            2: _("Almost all of it is borrowed from the other models: %(share)s."),
        }[(fit.drawn > _OWN) + (fit.drawn > _BORROWED)]
        said.append(words % {"share": percent_words(fit.drawn)})
        if fit.pooled_events > counts.events:
            words = ngettext(
                "All models together: %(n)s failure of this component.",
                "All models together: %(n)s failures of this component.",
                fit.pooled_events,
            )
            said.append(words % {"n": number_words(fit.pooled_events, 0)})
    elif fit.shape is None:
        said.append(_("Too few failures in any model to say how it wears: no curve is fitted."))
    if not fit.converged:
        said.append(_("The fit did not settle; take its figures as rough."))
    return said


def guard_words(fit: FitRecord) -> str:
    """What running without a guard goes with; never called a cause."""
    if fit.guard_off_ratio is None or fit.guard_off_low is None or fit.guard_off_high is None:
        return _("Whether it fails more with the guard off cannot be told yet.")
    values = {
        "ratio": number_words(fit.guard_off_ratio),
        "low": number_words(fit.guard_off_low),
        "high": number_words(fit.guard_off_high),
    }
    words = _("With the guard off it failed %(ratio)s times as often (%(low)s to %(high)s).") % values
    if fit.guard_off_low <= 1.0 <= fit.guard_off_high:
        return words + " " + _("The record cannot tell that from no difference.")
    return (
        words + " " + _("They go together; that is no proof of a cause: guards may come off where the work is rougher.")
    )


def telling(one: MisfitBin) -> bool:
    """Whether seen and expected failures differ by more than counting alone gives."""
    return abs(one.seen - one.expected) > _APART * max(one.expected, 1.0) ** 0.5


def misfit_words(line: ComponentLine) -> list[str]:
    """Where the fitted curve and the record part ways; said either way, so that silence is never read as a good fit."""
    fit = line.fit
    if fit.shape is None or (fit.curve is None and not fit.misfit):
        return []
    said = []
    for low, high in spans_outside(line):
        values = {"low": hours_words(low), "high": hours_words(high)}
        said.append(
            _("From %(low)s to %(high)s h the fitted curve leaves the limits of what was seen: trust the steps there.")
            % values
            if low < high
            else _("At %(low)s h the fitted curve leaves the limits of what was seen: trust the steps there.") % values
        )
    for one in fit.misfit:
        if telling(one):
            words = _("From %(low)s to %(high)s h %(seen)s failures were seen where the fit expects %(expected)s.")
            said.append(
                words
                % {
                    "low": hours_words(one.start),
                    "high": hours_words(one.end),
                    "seen": number_words(one.seen, 0),
                    "expected": number_words(one.expected),
                }
            )
    if said or not (judged(line) or fit.misfit):
        return said
    return [_("The fitted curve agrees with what was seen.")]


def life_words(fit: FitRecord) -> str:
    """How long it lasts, in a sentence; empty where nothing is fitted."""
    if fit.b10_hours is None:
        return ""
    low, high = fit.b10_low, fit.b10_high
    job = _clock_task(fit)
    since = _("after the last %(job)s") % {"job": job} if job else _("of age")
    values = {"hours": hours_words(fit.b10_hours), "since": since}
    if low is None or high is None:
        return _("One in ten has failed by %(hours)s h %(since)s.") % values
    words = _("One in ten has failed by %(hours)s h %(since)s (%(low)s to %(high)s).")
    return words % {**values, "low": hours_words(low), "high": hours_words(high)}


def wear_words(fit: FitRecord) -> str:
    """What the shape says of how it fails."""
    if fit.shape is None or fit.shape_low is None or fit.shape_high is None:
        return ""
    if fit.shape_low > 1.0:
        return _("It wears out: the longer it has run, the likelier it fails.")
    if fit.shape_high < 1.0:
        return _("It fails early more than late: look at how it is fitted and run in.")
    return _("Whether it wears out or fails by chance cannot be told yet.")


def figure_rows(fit: FitRecord) -> list[tuple[str, str]]:
    """The fitted figures with their 95 % intervals, as a list to look up."""

    def ranged(value: float | None, low: float | None, high: float | None, unit: str, places: int | None) -> str:
        if value is None:
            return _("not known")
        written = [
            hours_words(v) if places is None else number_words(v, places) for v in (value, low, high) if v is not None
        ]
        if len(written) < 3:
            return written[0] + unit
        return _("%(value)s%(unit)s (%(low)s to %(high)s)") % {
            "value": written[0], "unit": unit, "low": written[1], "high": written[2],
        }  # fmt: skip

    hours = " " + pgettext("engine hours", "h")
    rows = [
        (_("Shape of the Weibull fit"), ranged(fit.shape, fit.shape_low, fit.shape_high, "", 2)),
        (_("Scale, engine hours"), ranged(fit.scale, fit.scale_low, fit.scale_high, hours, None)),
        (_("One in ten failed by"), ranged(fit.b10_hours, fit.b10_low, fit.b10_high, hours, None)),
        (_("Mean life"), ranged(fit.mean_hours, None, None, hours, None)),
        (_("Guard off against on"), ranged(fit.guard_off_ratio, fit.guard_off_low, fit.guard_off_high, "", 2)),
    ]
    if fit.mean_exposure is not None:
        rows.append((_("Hours with the guard off"), percent_words(fit.mean_exposure)))
    return rows


def table_words(row: TableRow) -> dict[str, str]:
    """One line of the curve's table."""

    def share(value: float | None) -> str:
        return "–" if value is None else percent_words(value)

    def limits(low: float | None, high: float | None) -> str:
        return (
            "–" if low is None or high is None else _("%(low)s to %(high)s") % {"low": share(low), "high": share(high)}
        )

    return {
        "hours": hours_words(row.hours),
        "seen": share(row.seen),
        "seen_limits": limits(row.seen_low, row.seen_high),
        "fitted": share(row.fitted),
        "fitted_limits": limits(row.fitted_low, row.fitted_high),
    }


def clock_words(fit: FitRecord) -> str:
    """What the hours of the curve count from."""
    if job := _clock_task(fit):
        return _("Hours count from the last %(job)s.") % {"job": job}
    return _("Hours count from when the component was new.")


def _clock_task(fit: FitRecord) -> str:
    """The task whose hours count, in a sentence; empty where the component's own age does."""
    return str(TASKS[fit.task].label).lower() if fit.clock == "task" and fit.task is not None else ""


def joined(sentences: Sequence[str]) -> str:
    """Sentences as one paragraph."""
    return " ".join(s for s in sentences if s)
