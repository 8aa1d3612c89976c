"""What stands on the owner's papers, made ready for the page maker."""
