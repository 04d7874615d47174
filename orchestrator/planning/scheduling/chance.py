"""Numbers that look like chance and are always the same for the same seed.

A linear congruential generator modulo 2**64 with Knuth's multiplier (MMIX: "The Art of Computer
Programming", volume 2, section 3.3.4; constants from memory). Good enough to pick moves by, and
the same on every machine and version of the language.
"""


class Chance:
    """A source of such numbers."""

    def __init__(self, seed: int) -> None:
        self._state = seed

    def below(self, limit: int) -> int:
        """A whole number from 0 up to, not including, ``limit``."""
        self._state = (self._state * 6364136223846793005 + 1442695040888963407) % (1 << 64)
        return (self._state >> 33) % limit
