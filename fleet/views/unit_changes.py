"""What people change on a unit's page: note, pictures, crew, retirement, and entries that were wrong."""

from __future__ import annotations

from typing import Any

from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.clock import today_at
from fleet.forms.refusals import add_refusal
from fleet.forms.unit import MoveForm, NoteForm, PhotoForm, RetireForm, WithdrawForm
from fleet.models import ENTRY_KINDS, Crew, Entry, Trimmer, UnitPhoto, UnitState
from fleet.record.corrections import withdraw
from fleet.record.unit_notes import add_photo, remove_photo, set_note
from fleet.record.units import move_unit, retire_unit
from fleet.record.writing import Refused
from fleet.upkeep.entry_words import KIND_LABELS, entry_words
from fleet.upkeep.unit_history import belongs_to
from fleet.views.asking import by_of, go, saved, show
from fleet.views.pictures import jpeg_answer


def _unit(request: HttpRequest, pk: int, action: str) -> Trimmer:
    return request.access.unit(pk, action)  # type: ignore[attr-defined]


def form_page(request: HttpRequest, unit: Trimmer, form: Form, **words: Any) -> HttpResponse:
    """A change to a unit on a page of its own."""
    context = {"unit": unit, "form": form, "back": reverse("unit", args=[unit.pk]), **words}
    return show(request, "fleet/unit_form.html", context, status=422 if form.is_bound else 200)


@allowed("log_work")
def note(request: HttpRequest, pk: int) -> HttpResponse:
    """Write on the unit's note."""
    unit = _unit(request, pk, "log_work")
    form = NoteForm(request.POST if request.method == "POST" else None, initial={"note": unit.note})
    if request.method == "POST" and form.is_valid():
        try:
            set_note(unit=unit, note=form.cleaned_data["note"])
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            saved(request, _("%(unit)s: note saved.") % {"unit": unit.tag})
            return go(request, reverse("unit", args=[pk]))
    return form_page(request, unit, form, heading=_("note"), submit=_("Save"))


@allowed("move_unit")
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the unit to another crew from a day on."""
    unit = _unit(request, pk, "move_unit")
    today = today_at(unit.contractor)
    state = UnitState.objects.filter(pk=pk).first()
    crews = list(Crew.objects.filter(contractor=unit.contractor_id).order_by("name", "pk"))
    now = None if state is None else state.crew_id
    form = MoveForm(request.POST if request.method == "POST" else None, crews=crews, now=now, today=today)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        crew = next((c for c in crews if str(c.pk) == data["crew"]), None)
        by = by_of(request, unit.contractor_id, data["client_entry_id"])
        try:
            entry = move_unit(unit=unit, crew=crew, on=data["occurred_on"], by=by, today=today)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            place = crew.name if crew is not None else _("nobody: in the yard")
            saved(request, _("%(unit)s rides with %(crew)s.") % {"unit": unit.tag, "crew": place}, [entry])
            return go(request, reverse("unit", args=[pk]))
    return form_page(request, unit, form, heading=_("move to another crew"), submit=_("Move"))


@allowed("retire_unit")
def retire(request: HttpRequest, pk: int) -> HttpResponse:
    """The unit left service: sold, scrapped, stolen or lost."""
    unit = _unit(request, pk, "retire_unit")
    today = today_at(unit.contractor)
    initial = {"occurred_on": today, "why": request.GET.get("why", "")}
    form = RetireForm(request.POST if request.method == "POST" else None, initial=initial)
    if request.method == "POST" and form.is_valid():
        by = by_of(request, unit.contractor_id, form.cleaned_data["client_entry_id"])
        try:
            entry = retire_unit(
                unit=unit, on=form.cleaned_data["occurred_on"], why=form.why_words(), by=by, today=today
            )
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            saved(request, _("%(unit)s has left service; its history stays.") % {"unit": unit.tag}, [entry])
            return go(request, reverse("unit", args=[pk]))
    lead = _("Its history stays and its tag is free again. A unit that turns up can come back by undoing this.")
    return form_page(request, unit, form, heading=_("take out of service"), submit=_("Retire"), lead=lead, grave=True)


@allowed("log_work")
def withdraw_entry(request: HttpRequest, pk: int, kind: str, entry: int) -> HttpResponse:
    """Set one entry aside, with the reason: one's own, or anybody's for those who answer for the fleet."""
    unit = _unit(request, pk, "log_work")
    row = _entry_of(unit, kind, entry)
    access = request.access  # type: ignore[attr-defined]
    if row.author_id != request.user.pk:
        access.require("withdraw_any", unit.contractor_id)
    form = WithdrawForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        by = by_of(request, unit.contractor_id, form.cleaned_data["client_entry_id"])
        try:
            withdraw(kind=kind, entry_id=row.pk, why=form.cleaned_data["why"], by=by)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            saved(request, _("%(unit)s: entry withdrawn; answers no longer rest on it.") % {"unit": unit.tag})
            return go(request, reverse("unit", args=[pk]) + "#history")
    words = {"heading": _("withdraw an entry"), "submit": _("Withdraw"), "on": row.occurred_on, "grave": True}
    return form_page(request, unit, form, lead=f"{KIND_LABELS[kind]}: {entry_words(row)}", **words)


def _entry_of(unit: Trimmer, kind: str, pk: int) -> Entry:
    model = ENTRY_KINDS.get(kind)
    row = None if model is None else model._default_manager.filter(pk=pk).first()
    if row is None or not belongs_to(row, unit):
        raise Http404
    return row


@allowed("log_work")
def photos(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a picture."""
    unit = _unit(request, pk, "log_work")
    posted = request.method == "POST"
    form = PhotoForm(request.POST if posted else None, request.FILES if posted else None)
    if posted and form.is_valid():
        upload = form.cleaned_data["picture"]
        try:
            add_photo(
                unit=unit,
                upload=upload,
                size=upload.size,
                caption=form.cleaned_data["caption"],
                author=request.user,  # type: ignore[arg-type]
            )
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            saved(request, _("%(unit)s: picture added.") % {"unit": unit.tag})
            return go(request, reverse("unit", args=[pk]) + "#pictures")
    return form_page(request, unit, form, heading=_("add a picture"), submit=_("Add"))


def _photo(unit: Trimmer, pk: int) -> UnitPhoto:
    row = UnitPhoto.objects.filter(pk=pk, trimmer=unit).first()
    if row is None:
        raise Http404
    return row


@allowed("see_fleet")
def photo(request: HttpRequest, pk: int, photo: int) -> HttpResponse:
    """The picture itself: pictures have no address but this one."""
    return jpeg_answer(_photo(_unit(request, pk, "see_fleet"), photo).picture)


@allowed("log_work")
@require_POST
def photo_remove(request: HttpRequest, pk: int, photo: int) -> HttpResponse:
    """Take a picture away: one's own, or anybody's for those who answer for the fleet."""
    unit = _unit(request, pk, "log_work")
    row = _photo(unit, photo)
    if row.added_by_id != request.user.pk:
        request.access.require("withdraw_any", unit.contractor_id)  # type: ignore[attr-defined]
    remove_photo(photo=row)
    saved(request, _("%(unit)s: picture removed.") % {"unit": unit.tag})
    return go(request, reverse("unit", args=[pk]) + "#pictures")
