"""From ledger to answers: bulk loading into plain arrays, hours, due dates. No writing of history."""
