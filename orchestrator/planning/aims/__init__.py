"""What is held and heard now, and what is wanted: everything but the order of steps."""
