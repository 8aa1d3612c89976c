"""Addresses of the owner's pages: what things cost, and what to do about it."""

from django.urls import path

from fleet.views import buying, crew_costs, review

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
]
