"""The bench: which unit, which cable, who is there, and bringing it up."""
