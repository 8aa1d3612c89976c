"""The bench sheet as it is posted: taps line by line, and what each job took when it is recorded."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.forms.figures import FigureField, read_figure
from shop.bench.sheet_recording import Spent
from shop.bench.sheet_taps import Tap
from shop.sheet_lines import NOT_LOOKED


@dataclass
class Posted:
    """One line as posted, with what the page showed of it before and what could not be read."""

    tap: Tap
    was: str
    measured_text: str = ""
    error: str = ""

    @property
    def changed(self) -> bool:
        """Whether it says anything else than the page showed: a line left alone is not saved over another's answer."""
        finding, detail, done, measured = [*self.was.split("|"), "", "", "", ""][:4]
        tap = self.tap
        same = tap.finding == (finding or NOT_LOOKED) and tap.detail in ("", detail) and tap.done in ("", done)
        return bool(self.error) or not same or self.measured_text != measured


def state_of(finding: str, detail: str, done: str, measured: str) -> str:
    """What a page shows of a line, for ``was``."""
    return f"{finding}|{detail}|{done}|{measured}"


def read_line(data: Mapping[str, Any], key: str) -> Posted:
    """One line of the sheet out of what was posted."""
    text = data.get(f"m-{key}", "").strip()
    measured: Decimal | None = None
    error = ""
    if text:
        try:
            measured = read_figure(text)
        except ValueError:
            error = _("Write a figure, for example 6.5.")
    try:
        press: uuid.UUID | None = uuid.UUID(data.get(f"press-{key}", ""))
    except ValueError:
        press = None
    finding = data.get(f"f-{key}") or NOT_LOOKED
    tap = Tap(key, finding, data.get(f"d-{key}", ""), data.get(f"w-{key}", ""), measured, press)
    return Posted(tap, data.get(f"was-{key}", ""), text, error)


def read_sheet(data: Mapping[str, Any], keys: Iterable[str]) -> dict[str, Posted]:
    """Lines that were posted and say something else than the page showed."""
    rows = {key: read_line(data, key) for key in keys if f"f-{key}" in data}
    return {key: row for key, row in rows.items() if row.changed}


class SpentForm(forms.Form):
    """Minutes and parts of each job that the sheet records."""

    def __init__(self, *args: Any, jobs: Iterable[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.jobs = list(jobs)
        for key, words in self.jobs:
            name = key.replace(".", "-")
            # Translators: minutes that a job took; the job's name follows for who cannot see the page
            self.fields[f"minutes-{name}"] = forms.IntegerField(
                label=gettext_lazy("Minutes it took"), required=False, min_value=0, max_value=1440,
                widget=forms.NumberInput(attrs={"aria-label": f"{words}: {_('Minutes it took')}"}),
            )  # fmt: skip
            self.fields[f"parts-{name}"] = FigureField(
                label=gettext_lazy("Parts, $"),
                widget=forms.TextInput(attrs={"aria-label": f"{words}: {_('Parts, $')}"}),
            )

    def rows(self) -> list[tuple[str, list[Any]]]:
        """(job's words, its two fields)."""
        return [
            (words, [self[f"{kind}-{key.replace('.', '-')}"] for kind in ("minutes", "parts")])
            for key, words in self.jobs
        ]

    def spent(self) -> dict[str, Spent]:
        """What each job took."""
        data = self.cleaned_data
        return {
            key: Spent(data.get(f"minutes-{key.replace('.', '-')}"), data.get(f"parts-{key.replace('.', '-')}"))
            for key, _words in self.jobs
        }


class FigureOfManual(forms.Form):
    """What the manual says of one measured value."""

    check_key = forms.CharField(widget=forms.HiddenInput)
    low = forms.CharField(label=gettext_lazy("From"), required=False, max_length=12)
    high = forms.CharField(label=gettext_lazy("To"), required=False, max_length=12)

    def clean(self) -> dict[str, Any]:
        """Both as figures."""
        data: dict[str, Any] = super().clean() or {}
        for name in ("low", "high"):
            text = (data.get(name) or "").strip()
            try:
                data[name] = read_figure(text) if text else None
            except ValueError:
                self.add_error(name, _("Write a figure, for example 6.5."))
        return data
