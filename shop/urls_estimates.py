"""Addresses of estimates: at the bench, for a signed-in owner, and by the private address in a letter."""

from __future__ import annotations

from django.urls import URLPattern, path

from shop.views import estimate_answers, estimates

estimate_urls: list[URLPattern] = [
    path("bench/jobs/<int:pk>/estimate/", estimates.estimate_send, name="estimate_send"),
    path("bench/estimates/<int:pk>/", estimates.bench_estimate, name="bench_estimate"),
    path("drop-offs/estimates/<int:pk>/", estimate_answers.estimate_owner, name="estimate_owner"),
    path("estimates/<str:token>/", estimate_answers.estimate, name="estimate"),
    path("estimates/<str:token>/pictures/<int:photo>.jpg", estimate_answers.estimate_picture, name="estimate_picture"),
]
