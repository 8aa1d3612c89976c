"""The only code that writes the ledger: keyword-only functions, called by screens, imports and tasks alike."""
