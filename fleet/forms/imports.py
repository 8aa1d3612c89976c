"""Forms of import and export."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy


class ManyFilesInput(forms.ClearableFileInput):
    """A file input that takes several."""

    allow_multiple_selected = True


class ManyFilesField(forms.FileField):
    """One or more uploaded files."""

    widget = ManyFilesInput

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        files = data if isinstance(data, list | tuple) else [data]
        return [super(ManyFilesField, self).clean(file, initial) for file in (files or [None])]


class UploadForm(forms.Form):
    """Files and whose they are."""

    contractor: forms.ModelChoiceField = forms.ModelChoiceField(
        label=gettext_lazy("for"),
        queryset=None,
        required=False,
        empty_label=gettext_lazy("whom the files name"),
        help_text=gettext_lazy("Rows that name no contractor belong to this one."),
    )
    upload = ManyFilesField(
        label=gettext_lazy("files"),
        widget=ManyFilesInput(attrs={"accept": ".csv,.xlsx"}),
        error_messages={"required": gettext_lazy("Choose the files first.")},
        help_text=gettext_lazy("Several at once, .csv or .xlsx. Nothing is added before you have seen what would be."),
    )

    def __init__(self, *args: Any, contractors: Any, may_name_others: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["contractor"].queryset = contractors  # type: ignore[attr-defined]
        if len(contractors) == 1 and not may_name_others:
            self.initial["contractor"] = contractors[0]
            self.fields["contractor"].empty_label = None  # type: ignore[attr-defined]
            self.fields["contractor"].required = True


class ExportForm(forms.Form):
    """Whose fleet, and in which form."""

    FORMS = [
        ("csv", gettext_lazy("text files (.csv) in a .zip: what another portal reads")),
        ("xlsx", gettext_lazy("one workbook (.xlsx), a sheet for each file: to look at and calculate with")),
    ]
    contractor: forms.ModelChoiceField = forms.ModelChoiceField(
        label=gettext_lazy("fleet of"),
        queryset=None,
        required=False,
        empty_label=gettext_lazy("everyone in sight"),
    )
    form = forms.ChoiceField(label=gettext_lazy("as"), choices=FORMS, widget=forms.RadioSelect, initial="csv")

    def __init__(self, *args: Any, contractors: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["contractor"].queryset = contractors  # type: ignore[attr-defined]
        if len(contractors) == 1:
            self.initial["contractor"] = contractors[0]
            self.fields["contractor"].empty_label = None  # type: ignore[attr-defined]
            self.fields["contractor"].required = True
