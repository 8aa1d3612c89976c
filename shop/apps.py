"""The bench: what the shop plans and does. Imports fleet; fleet never imports it."""

from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shop"
    default_auto_field = "django.db.models.BigAutoField"
