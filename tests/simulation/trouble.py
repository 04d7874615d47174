"""What can go wrong, and how often: a mixture drawn by seed."""

from dataclasses import dataclass
from random import Random


@dataclass(frozen=True)
class Odds:
    """How likely each trouble is, each time it could happen.

    Of a write: ``request_lost``, ``answer_lost``, ``late`` (it lands later), ``refused``, ``busy``,
    ``lies`` (yes is said and nothing done). Of a read: ``read_lost``, ``unreadable``, ``stranger``.
    Of a device: ``reboots`` (with what it saved), ``drift`` (another hand sets a value). Of the
    new address of a device: ``occupied`` (somebody stands there), ``taken`` (somebody comes there
    with it), ``cable`` (its cable stays behind). Of the process: ``stops`` at an event or an
    operation, ``interrupts`` (a person stops it), ``no_go``.
    """

    request_lost: float = 0.0
    answer_lost: float = 0.0
    late: float = 0.0
    refused: float = 0.0
    busy: float = 0.0
    lies: float = 0.0
    read_lost: float = 0.0
    unreadable: float = 0.0
    stranger: float = 0.0
    reboots: float = 0.0
    drift: float = 0.0
    occupied: float = 0.0
    taken: float = 0.0
    cable: float = 0.0
    stops: float = 0.0
    interrupts: float = 0.0
    no_go: float = 0.0


CALM = Odds()


def odds(chance: Random) -> Odds:
    """A mixture of troubles: most are absent, the others rare or common."""
    kinds = chance.choice((0, 1, 2, 3, 6, 17))
    picked = set(chance.sample(sorted(_HOW_OFTEN), kinds))
    return Odds(**{name: chance.choice(_HOW_OFTEN[name]) for name in sorted(picked)})


_HOW_OFTEN = {
    "request_lost": (0.05, 0.3),
    "answer_lost": (0.05, 0.3),
    "late": (0.1, 0.5),
    "refused": (0.02, 0.1),
    "busy": (0.05, 0.3),
    "lies": (0.03, 0.1),
    "read_lost": (0.02, 0.1),
    "unreadable": (0.05, 0.4),
    "stranger": (0.005, 0.05),
    "reboots": (0.01, 0.05),
    "drift": (0.01, 0.05),
    "occupied": (0.3, 0.9),
    "taken": (0.3, 0.9),
    "cable": (0.3, 0.9),
    "stops": (0.01, 0.03, 0.1),
    "interrupts": (0.01, 0.05),
    "no_go": (0.2,),
}
