"""Addresses of the owner's pages: what things cost, and what to do about it."""

from django.urls import path

from fleet.views import crew_costs

owner_urls = [
    path("costs/crews/", crew_costs.crew_costs, name="crew_costs"),
    path("costs/crews.csv", crew_costs.crew_costs_csv, name="crew_costs_csv"),
    path("costs/crews/again/", crew_costs.crew_costs_again, name="crew_costs_again"),
]
