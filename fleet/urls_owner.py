"""Addresses of the owner's pages: what things cost, and what to do about it."""

from django.urls import path

from fleet.views import annual_report, budget, buying, crew_costs, free_repairs, review, theft_sheet

owner_urls = [
    path("costs/crews/", crew_costs.crew_costs, name="crew_costs"),
    path("costs/crews.csv", crew_costs.crew_costs_csv, name="crew_costs_csv"),
    path("costs/crews/again/", crew_costs.crew_costs_again, name="crew_costs_again"),
    path("costs/keep-or-replace/", review.reviews, name="reviews"),
    path("costs/keep-or-replace.csv", review.reviews_csv, name="reviews_csv"),
    path("costs/keep-or-replace/again/", review.reviews_again, name="reviews_again"),
    path("costs/keep-or-replace/<int:pk>/", review.unit_review, name="unit_review"),
    path("costs/buying-list/", buying.buying, name="buying"),
    path("costs/buying-list.csv", buying.buying_csv, name="buying_csv"),
    path("costs/budget/", budget.season_budget, name="season_budget"),
    path("costs/budget.csv", budget.season_budget_csv, name="season_budget_csv"),
    path("costs/budget.xlsx", budget.season_budget_xlsx, name="season_budget_xlsx"),
    path("costs/budget.pdf", budget.season_budget_pdf, name="season_budget_pdf"),
    path("costs/annual-report/", annual_report.annual_report, name="annual_report"),
    path("costs/annual-report.pdf", annual_report.annual_report_pdf, name="annual_report_pdf"),
    path("costs/free-repair/", free_repairs.free_repairs, name="free_repairs"),
    path("theft-sheet/", theft_sheet.theft_sheet, name="theft_sheet"),
    path("theft-sheet/print/", theft_sheet.theft_sheet_print, name="theft_sheet_print"),
    path("theft-sheet.pdf", theft_sheet.theft_sheet_pdf, name="theft_sheet_pdf"),
]
