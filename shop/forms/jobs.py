"""A job at the bench: done, with what was found; or left out, and why."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.figures import FigureField
from fleet.forms.jobs import PressForm
from fleet.vocabulary import AS_FOUND, CAUSES, COMPONENTS, FAILURE_DONE, FINDINGS_OF_TASK, TASKS
from shop.bench.working import Found
from shop.vocabulary import NOT_BROKEN

_UNKNOWN = ("", _("not known"))
_LOOKED = ("looked", _("only looked at"))
_REPAIR_DONE = [*FAILURE_DONE.items(), (NOT_BROKEN, _("nothing was broken: fuel, routine, line or guard put right"))]
_CHECKED = [("looked", _("checked")), ("serviced", _("checked and put right")), ("replaced", _("part replaced"))]


class MinutesForm(PressForm):
    """Minutes taken; what every job has."""

    minutes = forms.IntegerField(label=_("Minutes it took"), required=False, min_value=0, max_value=1440)

    def found(self) -> Found:
        """The answers as the writer wants them."""
        names = Found.__dataclass_fields__
        return Found(**{name: value for name, value in self.cleaned_data.items() if name in names})


class PartsForm(MinutesForm):
    """What parts cost, and who pays."""

    parts_cost = FigureField(label=_("Parts, $"))
    warranty = forms.NullBooleanField(
        label=_("Under warranty?"),
        required=False,
        widget=forms.Select(choices=[("", _("not known")), ("true", _("yes")), ("false", _("no"))]),
    )


class TaskForm(PartsForm):
    """A task of the schedule."""

    as_found = forms.ChoiceField(label=_("How was it found?"), widget=forms.RadioSelect)
    done = forms.ChoiceField(label=_("What was done?"), widget=forms.RadioSelect)
    field_order = ["as_found", "done", "minutes", "parts_cost", "warranty"]

    def __init__(self, *args: Any, task: str, **kwargs: Any) -> None:
        words: list[tuple[str, Any]] = (
            list(_CHECKED)
            if TASKS[task].renewed_by_look
            else [
                ("serviced", TASKS[task].done_word),
                ("replaced", _("new part fitted")),
                ("looked", _("only looked at")),
            ]
        )
        kwargs["initial"] = {"done": words[0][0], **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        self.fields["as_found"].choices = [(key, AS_FOUND[key]) for key in FINDINGS_OF_TASK[task]]  # type: ignore[attr-defined]
        self.fields["done"].choices = words  # type: ignore[attr-defined]


class RepairForm(PartsForm):
    """A fault put right: what it really was."""

    component = forms.ChoiceField(label=_("What it really was"), choices=list(COMPONENTS.items()))
    what = forms.CharField(label=_("In a few words"), required=False, max_length=200)
    cause = forms.ChoiceField(label=_("Cause"), required=False, choices=[_UNKNOWN, *CAUSES.items()])
    done = forms.ChoiceField(label=_("What was done?"), widget=forms.RadioSelect, choices=_REPAIR_DONE)
    field_order = ["component", "what", "cause", "done", "minutes", "parts_cost", "warranty"]


class LeaveOutForm(forms.Form):
    """Why a job is left undone."""

    why = forms.CharField(label=_("Left out because"), max_length=120)


class PhotoForm(forms.Form):
    """A picture from the counter or the bench."""

    picture = forms.FileField(
        label=_("Picture"),
        help_text=_("JPEG, PNG or WebP, up to 10 MB. Kept smaller, and without where or when it was taken."),
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )
    caption = forms.CharField(label=_("What it shows"), required=False, max_length=120)
