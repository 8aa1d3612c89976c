"""Forms of the bench."""
