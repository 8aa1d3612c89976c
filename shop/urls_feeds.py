"""Addresses of drop-offs in people's own calendars."""

from __future__ import annotations

from django.urls import URLPattern, path

from shop.views import calendar_feeds

feed_urls: list[URLPattern] = [
    path("drop-offs/calendar/", calendar_feeds.calendar_addresses, name="calendar_addresses"),
    path("drop-offs/calendar/crews/<int:pk>/", calendar_feeds.crew_calendar, name="crew_calendar"),
    path("drop-offs/calendar/shops/<int:pk>/", calendar_feeds.shop_calendar, name="shop_calendar"),
    path("calendar/<slug:token>.ics", calendar_feeds.drop_off_feed, name="drop_off_feed"),
]
