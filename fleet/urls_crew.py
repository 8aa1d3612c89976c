"""Addresses of the pages crews use every day."""

from django.urls import path

from fleet.views import faults, guard_walk, hours, jobs, purchase_papers, ready, unit, unit_changes, unit_papers

crew_urls = [
    path("", ready.ready, name="ready"),
    path("home/", ready.home, name="home"),
    path("ready.csv", ready.ready_csv, name="ready_csv"),
    path("lines/<int:pk>/", ready.ready_line, name="ready_line"),
    path("print/", ready.ready_print, name="ready_print"),
    path("undo/", jobs.undo, name="undo"),
    path("hours/", hours.hours, name="hours"),
    path("hours/crew/", hours.crew_hours, name="crew_hours"),
    path("guard-walk/", guard_walk.guard_walk, name="guard_walk"),
    path("report-fault/", faults.report_fault, name="report_fault"),
    path("units/<int:pk>/", unit.unit, name="unit"),
    path("units/<int:pk>/done/<slug:task>/", jobs.done, name="done"),
    path("units/<int:pk>/not-now/<slug:task>/", jobs.not_now, name="not_now"),
    path("units/<int:pk>/resume/<slug:task>/", jobs.pick_up_again, name="pick_up_again"),
    path("units/<int:pk>/guard-refitted/", jobs.guard_refitted, name="guard_refitted"),
    path("units/<int:pk>/note/", unit_changes.note, name="unit_note"),
    path("units/<int:pk>/move/", unit_changes.move, name="unit_move"),
    path("units/<int:pk>/retire/", unit_changes.retire, name="unit_retire"),
    path("units/<int:pk>/withdraw/<slug:kind>/<int:entry>/", unit_changes.withdraw_entry, name="unit_withdraw"),
    path("units/<int:pk>/notices/<int:notice>/done/", unit_papers.notice_done, name="notice_done"),
    path("units/<int:pk>/notices/taken-back/<int:done>/", unit_papers.notice_taken_back, name="notice_taken_back"),
    path("units/<int:pk>/facts/", unit_papers.facts, name="unit_facts"),
    path("units/<int:pk>/purchase-papers/", purchase_papers.purchase_papers, name="purchase_papers"),
    path("units/<int:pk>/purchase-papers/<int:paper>.jpg", purchase_papers.purchase_paper, name="purchase_paper"),
    path(
        "units/<int:pk>/purchase-papers/<int:paper>/remove/",
        purchase_papers.purchase_paper_remove,
        name="purchase_paper_remove",
    ),
    path("units/<int:pk>/photos/", unit_changes.photos, name="unit_photos"),
    path("units/<int:pk>/photos/<int:photo>.jpg", unit_changes.photo, name="unit_photo"),
    path("units/<int:pk>/photos/<int:photo>/remove/", unit_changes.photo_remove, name="unit_photo_remove"),
]
