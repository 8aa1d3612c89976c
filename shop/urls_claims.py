"""Addresses of warranty claims."""

from __future__ import annotations

from django.urls import URLPattern, path

from shop.views import claims

claim_urls: list[URLPattern] = [
    path("bench/claims/", claims.claims, name="claims"),
    path("bench/claims/<int:pk>/", claims.claim, name="claim"),
    path("bench/jobs/<int:pk>/claim/", claims.claim_open, name="claim_open"),
]
