"""Taking a run back: what is asked for, what stays, and what can't be reached."""
