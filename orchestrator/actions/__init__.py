"""Survey, dry-run, apply, resume, undo and audit as plain functions, without a terminal."""
