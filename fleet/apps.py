"""The fleet side of the portal, shared by shop and contractors."""

from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Hang the pages into the top bar."""
        from fleet.navigation import add_pages

        add_pages()
