"""A secret that prints as nothing."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Secret:
    """A sign-in: a user name (may be empty) and what proves it.

    Only :meth:`reveal` gives the secret out; ``repr``, ``str`` and ``format`` never do.
    """

    user: str
    _word: str = field(repr=False)

    def reveal(self) -> str:
        """The secret itself. Call it only where a request is signed."""
        return self._word

    def __str__(self) -> str:
        return "(secret)"
