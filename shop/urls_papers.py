"""Addresses of papers: what is printed for the trailer, the bench and the units themselves."""

from __future__ import annotations

from django.urls import URLPattern, path

from shop.views import labels, papers, visit_papers

paper_urls: list[URLPattern] = [
    path("papers/", papers.papers, name="papers"),
    path("papers/crew-sheet.pdf", papers.crew_sheet, name="crew_sheet"),
    path("papers/labels/", labels.labels, name="labels"),
    path("papers/labels.pdf", labels.labels_pdf, name="labels_pdf"),
    path("drop-offs/<int:pk>/ticket.pdf", visit_papers.drop_off_ticket, name="drop_off_ticket"),
    path("drop-offs/<int:pk>/work-and-cost.pdf", visit_papers.work_and_cost, name="drop_off_costs"),
    path("bench/lines/<int:pk>/inspection.pdf", visit_papers.inspection_slip, name="inspection_slip"),
    path("v/<slug:token>/", visit_papers.ticket, name="ticket"),
    path("units/<int:pk>/label/", labels.unit_label, name="unit_label"),
]
