"""What could go wrong."""

from dataclasses import dataclass
from enum import StrEnum


class Grade(StrEnum):
    """How much a hazard weighs."""

    STOPS = "stops"
    NEEDS_NAME = "needs_name"
    INFORMATION = "information"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """One hazard: the rule it touches, its grade, what and where it is, and the way out.

    ``name`` is what a person accepts it by; the same documents and survey give the same name.
    ``rule`` is ``H1`` to ``H9``, or a word for what is no safety rule (``phases``, ``survey``).
    ``accepted`` holds the reason of a person who accepted it.
    """

    name: str
    rule: str
    grade: Grade
    what: str
    where: tuple[str, ...] = ()
    fix: str = ""
    accepted: str | None = None

    @property
    def blocks(self) -> bool:
        """Whether nothing may be written because of it."""
        return self.grade is Grade.STOPS or (
            self.grade is Grade.NEEDS_NAME and self.accepted is None
        )
