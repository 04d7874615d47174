"""What the referee says in the end: what was broken and when, what was written, what was silent."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Breach:
    """One safety rule broken at one instant; ``at`` in the world's seconds."""

    at: float
    rule: str
    what: str


@dataclass(frozen=True, slots=True)
class Writes:
    """How many writes of one kind the referee saw on one device, from what they changed."""

    device: str
    kind: str
    count: int


@dataclass(frozen=True, slots=True)
class Silence:
    """A source that was enabled at the start, and was not from ``start`` to ``end``.

    In the world's seconds; ``end`` is ``None`` if it is still silent. ``on_air``: it fed a
    destination that is on air when the referee began to watch.
    """

    source: str
    start: float
    end: float | None
    on_air: bool = False

    @property
    def seconds(self) -> float | None:
        """How long it lasted; ``None``: it has not ended."""
        return None if self.end is None else self.end - self.start


@dataclass(frozen=True, slots=True)
class Verdict:
    """All that the referee has seen. ``broken`` is in the order of time."""

    broken: tuple[Breach, ...] = ()
    writes: tuple[Writes, ...] = ()
    silences: tuple[Silence, ...] = ()

    @property
    def clean(self) -> bool:
        """Whether no rule was broken."""
        return not self.broken

    def rules(self) -> frozenset[str]:
        """The rules that were broken ("H1")."""
        return frozenset(breach.rule for breach in self.broken)

    def count(self, kind: str | None = None, device: str | None = None) -> int:
        """How many writes were seen, of one kind or all, on one device or all."""
        return sum(
            one.count
            for one in self.writes
            if kind in (None, one.kind) and device in (None, one.device)
        )

    def as_dict(self) -> dict[str, Any]:
        """The verdict as plain dicts and lists, to be written as JSON."""
        return {
            "broken": [{"at": one.at, "rule": one.rule, "what": one.what} for one in self.broken],
            "writes": [
                {"device": one.device, "kind": one.kind, "count": one.count} for one in self.writes
            ],
            "silences": [
                {
                    "source": one.source,
                    "start": one.start,
                    "end": one.end,
                    "seconds": one.seconds,
                    "on_air": one.on_air,
                }
                for one in self.silences
            ],
        }


def words(verdict: Verdict, start: float = 0.0) -> str:
    """A verdict for people, what is silent first; times count from ``start``."""
    lines = [_silence_words(one, start) for one in sorted(verdict.silences, key=_weight)]
    if verdict.clean:
        lines.append("No safety rule was broken.")
    else:
        lines.append("Safety rules were broken:")
        lines.extend(
            f"  {one.rule} at {one.at - start:.3f} s: {one.what}" for one in verdict.broken
        )
    return "\n".join(lines)


def _weight(silence: Silence) -> tuple[bool, bool, float]:
    return silence.end is not None, not silence.on_air, silence.start


def _silence_words(silence: Silence, start: float) -> str:
    air = ", on air," if silence.on_air else ""
    if silence.seconds is None:
        return f"{silence.source}{air} has been silent since {silence.start - start:.3f} s."
    return f"{silence.source}{air} was silent for {silence.seconds:.3f} s."
