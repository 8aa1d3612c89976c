"""The bench: what the shop plans and does. Imports fleet; fleet never imports it."""

from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shop"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Hang the bench and its papers into the fleet's pages."""
        from fleet.upkeep.claimed import add_claims
        from shop.bench.claim_reading import claims_of_contractor
        from shop.navigation import add_pages
        from shop.navigation_papers import add_papers

        add_pages()
        add_papers()
        add_claims(claims_of_contractor)
