"""Addresses of drop-offs, check-in and the bench."""

from __future__ import annotations

from django.urls import path

from shop.views import (
    bench_calendar,
    bench_week,
    bench_work,
    book,
    check_in,
    drop_offs,
    first_checks,
    quick_look,
    season,
    sheet,
)

bench_urls = [
    path("drop-offs/", drop_offs.drop_offs, name="drop_offs"),
    path("drop-offs/book/", book.drop_off_book, name="drop_off_book"),
    path("drop-offs/<int:pk>/", drop_offs.drop_off, name="drop_off"),
    path("drop-offs/<int:pk>/move/", drop_offs.drop_off_move, name="drop_off_move"),
    path("drop-offs/<int:pk>/take/", drop_offs.drop_off_accept, name="drop_off_accept"),
    path("drop-offs/<int:pk>/call-off/", drop_offs.drop_off_cancel, name="drop_off_cancel"),
    path("drop-offs/lines/<int:pk>/leave-out/", drop_offs.line_cancel, name="line_cancel"),
    path("units/<int:pk>/book/", book.unit_book, name="unit_book"),
    path("units/<int:pk>/check-in/", check_in.unit_check_in, name="unit_check_in"),
    path("units/<int:pk>/walk-in/", check_in.walk_in_unit, name="walk_in_unit"),
    path("check-in/", check_in.check_in, name="check_in"),
    path("check-in/other-kit/", check_in.walk_in_kit, name="walk_in_kit"),
    path("bench/", bench_week.bench_week, name="bench_week"),
    path("bench/today/", bench_week.bench_today, name="bench_today"),
    path("bench/lines/<int:pk>/", bench_work.bench_line, name="bench_line"),
    path("bench/lines/<int:pk>/check-in/", check_in.line_check_in, name="line_check_in"),
    path("bench/lines/<int:pk>/step/", bench_work.line_step, name="line_step"),
    path("bench/lines/<int:pk>/add-job/", bench_work.line_add_job, name="line_add_job"),
    path("bench/lines/<int:pk>/pictures/", bench_work.bench_photos, name="bench_photos"),
    path("bench/lines/<int:pk>/pictures/<int:photo>.jpg", bench_work.bench_photo, name="bench_photo"),
    path("bench/lines/<int:pk>/first-checks/", first_checks.first_checks, name="first_checks"),
    path("bench/lines/<int:pk>/first-checks/answer/", first_checks.first_checks_answer, name="first_checks_answer"),
    path("bench/lines/<int:pk>/quick-look/", quick_look.quick_look, name="quick_look"),
    path("bench/lines/<int:pk>/quick-look/decide/", quick_look.quick_decide, name="quick_decide"),
    path("bench/lines/<int:pk>/sheet/", sheet.bench_sheet, name="bench_sheet"),
    path("bench/lines/<int:pk>/sheet/save/", sheet.sheet_save, name="sheet_save"),
    path("bench/lines/<int:pk>/sheet/figure/", sheet.sheet_figure, name="sheet_figure"),
    path("bench/lines/<int:pk>/sheet/record/", sheet.sheet_record, name="sheet_record"),
    path("bench/jobs/<int:pk>/", bench_work.bench_job, name="bench_job"),
    path("bench/days/", bench_calendar.bench_calendar, name="bench_calendar"),
    path("bench/days/technicians/add/", bench_calendar.technician_add, name="technician_add"),
    path("bench/days/technicians/<int:technician>/", bench_calendar.technician_change, name="technician_change"),
    path("bench/days/close/", bench_calendar.closed_add, name="closed_add"),
    path("bench/days/closed/<int:closed>/open/", bench_calendar.closed_remove, name="closed_remove"),
    path("bench/season/", season.season_plan, name="season_plan"),
    path("bench/season/<int:plan>/send/", season.season_plan_send, name="season_plan_send"),
    path("bench/days/minutes/", bench_calendar.job_minutes, name="job_minutes"),
]
