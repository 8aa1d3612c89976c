"""Addresses of the portal."""

from django.urls import include, path

urlpatterns = [path("account/", include("allauth.urls"))]
