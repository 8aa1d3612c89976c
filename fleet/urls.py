"""Addresses of the portal. Every view of ours says who may open it; a test reads that from this table."""

from django.urls import include, path

from fleet.urls_crew import crew_urls
from fleet.urls_office import office_urls
from fleet.urls_owner import owner_urls

# Sign-in, passwords and second proofs are the library's own pages, in our frame; the shop's are named, not imported.
urlpatterns = [
    *crew_urls,
    *office_urls,
    *owner_urls,
    path("", include("shop.urls")),
    path("account/", include("allauth.urls")),
]
