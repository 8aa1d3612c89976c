"""Pages of the bench and of drop-offs, one module a screen."""
