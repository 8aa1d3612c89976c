"""*Done now* and *Not now*."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.figures import FigureField
from fleet.vocabulary import AS_FOUND, FINDINGS_OF_TASK, TASKS, Label

# What was done, in the words of a check and of any other job.
_CHECKED: tuple[tuple[str, Label], ...] = (
    ("looked", _("checked")),
    ("serviced", _("checked and put right")),
    ("replaced", _("part replaced")),
)


def _done_words(task: str) -> list[tuple[str, Label]]:
    if TASKS[task].renewed_by_look:
        return list(_CHECKED)
    if task == "lay_up":
        return [("serviced", TASKS[task].done_word)]
    return [("serviced", TASKS[task].done_word), ("replaced", _("new part fitted")), ("looked", _("only looked at"))]


class PressForm(forms.Form):
    """A form whose press is recorded once, however often it is sent."""

    client_entry_id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["initial"] = {"client_entry_id": uuid.uuid4(), **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)


class DoneForm(PressForm):
    """One job done: how the part was found, what was done, when."""

    as_found = forms.ChoiceField(label=_("How was it found?"), widget=forms.RadioSelect)
    done = forms.ChoiceField(label=_("What was done?"), widget=forms.RadioSelect)
    occurred_on = DayField(label=_("On"))
    hours = FigureField(label=_("Engine hours then, if you know them"))

    def __init__(self, *args: Any, task: str, today: dt.date, **kwargs: Any) -> None:
        done = _done_words(task)
        kwargs["initial"] = {"occurred_on": today, "done": done[0][0], **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        self.fields["as_found"].choices = [(key, AS_FOUND[key]) for key in FINDINGS_OF_TASK[task]]  # type: ignore[attr-defined]
        self.fields["done"].choices = done  # type: ignore[attr-defined]
        if len(done) == 1:
            self.fields["done"].widget = forms.HiddenInput()
        if len(FINDINGS_OF_TASK[task]) == 1:
            self.fields["as_found"].widget = forms.HiddenInput()
            self.initial.setdefault("as_found", FINDINGS_OF_TASK[task][0])
        self.fields["hours"].widget.attrs["placeholder"] = _("not needed")


class NotNowForm(PressForm):
    """A job put off until a day, and why."""

    QUICK_REASONS = (
        ("needed_today", _("Needed on the trailer")),
        ("no_part", _("Waiting for a part")),
        ("with_next_drop_off", _("Goes to the shop another day")),
        ("little_used", _("Hardly used at present")),
        ("other", _("Something else")),
    )
    why = forms.ChoiceField(label=_("Why not now?"), choices=QUICK_REASONS, widget=forms.RadioSelect)
    reason = forms.CharField(label=_("In your words"), required=False, max_length=200)
    until = DayField(label=_("Ask again on"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("why") == "other" and not data.get("reason"):
            self.add_error("reason", _("Say in a few words why not now."))
        return data

    def reason_words(self) -> str:
        """The reason as it is kept: the choice's words, the person's own behind them."""
        own = self.cleaned_data["reason"].strip()
        choice = str(dict(self.QUICK_REASONS)[self.cleaned_data["why"]])
        if self.cleaned_data["why"] == "other":
            return str(own)
        return f"{choice}: {own}"[:200] if own else choice
