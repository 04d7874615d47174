"""What Ctrl-C does to a run: the first press asks it to pause, the second stops it at once."""


class Interrupts:
    """Counts presses; give one to ``drive`` to stop it by hand, else it listens to SIGINT."""

    def press(self) -> None:
        """Ask to stop; a second time: at once."""
        raise NotImplementedError
