"""The life of a step in hand: what is looked at, sent, read back, and what comes of it."""
