"""What is kept of a run beside the ledger: notes, states and whole configurations."""
