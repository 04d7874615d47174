"""From wanted states to steps in a safe order, with phases and times."""
