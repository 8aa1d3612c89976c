"""Addresses of the shop's side."""

from __future__ import annotations

from django.urls import URLPattern

from shop.urls_bench import bench_urls
from shop.urls_claims import claim_urls
from shop.urls_estimates import estimate_urls
from shop.urls_feeds import feed_urls
from shop.urls_papers import paper_urls

urlpatterns: list[URLPattern] = [*bench_urls, *claim_urls, *estimate_urls, *feed_urls, *paper_urls]
