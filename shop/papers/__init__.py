"""What stands on each paper: plain structures that the print templates set."""
