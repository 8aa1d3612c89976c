"""The fleet side of the portal, shared by shop and contractors."""

from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Set the words of forms, and hang the pages into the top bar."""
        from fleet.navigation import add_pages
        from fleet.plain_words import use_plain_words

        use_plain_words()
        add_pages()
