"""What the bench reads and writes. The ledger is written through ``fleet.record`` alone."""
