"""What rehearsals come to: each by itself, and all of them together."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import ceil


class Trouble(StrEnum):
    """What can be wrong with a device in a rehearsal."""

    SLOW = "slow"
    BUSY = "busy"
    LOSES_REQUESTS = "loses-requests"
    LOSES_ANSWERS = "loses-answers"
    APPLIES_LATE = "applies-late"
    REBOOTS = "reboots"
    GOES_AWAY = "goes-away"
    OTHER_HAND = "other-hand"
    ADDRESS_TAKEN = "address-taken"


TROUBLE_WORDS: Mapping[Trouble, str] = {
    Trouble.SLOW: "takes 5 to 30 times as long to answer",
    Trouble.BUSY: "says for a while that it is busy",
    Trouble.LOSES_REQUESTS: "every third request does not reach it",
    Trouble.LOSES_ANSWERS: "every third answer does not come back",
    Trouble.APPLIES_LATE: "says yes at once, and does it later",
    Trouble.REBOOTS: "restarts in the middle, with what it had saved",
    Trouble.GOES_AWAY: "stops answering in the middle",
    Trouble.OTHER_HAND: "somebody else changes it in the middle",
    Trouble.ADDRESS_TAKEN: "something answers at the address that it is to get",
}
"""Each trouble as a clause about its device."""


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One device, and what is wrong with it."""

    device: str
    trouble: Trouble

    def __str__(self) -> str:
        return f"{self.device}={self.trouble}"


@dataclass(frozen=True, slots=True)
class Held:
    """What a run was paused on: the device, the step in words, and why."""

    device: str
    step: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Time:
    """One rehearsal.

    ``seed`` makes it again. ``finished``: by itself, without a person. ``resumes``: how
    many resumes it then took to finish once the trouble was over; None: no number of them did.
    ``seconds`` runs until it finished or first paused.
    ``held`` is what it paused on. ``silent`` gives the longest silence of each source and known
    listener in seconds, ``left_silent`` those that were still silent at the pause. ``broken`` are
    broken safety rules, in words.
    """

    seed: int
    faults: tuple[Fault, ...] = ()
    finished: bool
    resumes: int | None = 0
    seconds: float
    held: tuple[Held, ...] = ()
    silent: Mapping[str, float] = field(default_factory=dict)
    left_silent: tuple[str, ...] = ()
    broken: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """Many rehearsals under one sort of trouble; ``given`` says which, in words."""

    given: str
    calm: bool
    times: tuple[Time, ...]

    @property
    def finished(self) -> tuple[Time, ...]:
        """Those that finished by themselves."""
        return tuple(time for time in self.times if time.finished)

    @property
    def broken(self) -> tuple[Time, ...]:
        """Those in which a safety rule was broken."""
        return tuple(time for time in self.times if time.broken)

    def lasted(self, share: float) -> float | None:
        """The time within which ``share`` of those that finished had done so, in seconds.

        The nearest-rank percentile: the smallest value that at least that share does not exceed.
        """
        lasted = sorted(time.seconds for time in self.finished)
        return lasted[max(0, ceil(share * len(lasted)) - 1)] if lasted else None

    @property
    def worst(self) -> Mapping[str, float]:
        """The longest silence of each source and known listener that came back, worst first."""
        found: dict[str, float] = {}
        for time in self.times:
            for name, seconds in time.silent.items():
                found[name] = max(seconds, found.get(name, 0.0))
        return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))

    @property
    def left_silent(self) -> Mapping[str, int]:
        """How often each source or listener was still silent when a run paused, most first."""
        return dict(Counter(n for time in self.times for n in time.left_silent).most_common())

    @property
    def held(self) -> Mapping[Held, int]:
        """What the runs paused on, and in how many of them, most first."""
        return dict(
            Counter(h for time in self.times for h in dict.fromkeys(time.held)).most_common()
        )
