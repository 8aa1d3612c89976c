"""Addresses of papers: what is printed for the trailer, the bench and the units themselves."""

from __future__ import annotations

from django.urls import URLPattern, path

from shop.views import labels, papers

paper_urls: list[URLPattern] = [
    path("papers/", papers.papers, name="papers"),
    path("papers/crew-sheet.pdf", papers.crew_sheet, name="crew_sheet"),
    path("papers/labels/", labels.labels, name="labels"),
    path("papers/labels.pdf", labels.labels_pdf, name="labels_pdf"),
    path("units/<int:pk>/label/", labels.unit_label, name="unit_label"),
]
