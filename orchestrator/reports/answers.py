"""Who answered what, and when: questions of safety, go/no-go points, hazards accepted by name.

With them stand, for people, the terms that were given at a resume.

In JSON, ``answers[]``: question, go, by, at.
"""

from collections.abc import Iterable
from datetime import datetime

from orchestrator.reports.layout import heading, wrap
from orchestrator.reports.terms import terms_lines
from orchestrator.reports.values import Json
from orchestrator.running.events import Agreed, Answered, Event

Timeline = Iterable[tuple[datetime, Event]]
"""The events of a run, each with the time at which it was stored."""


def answer_lines(timeline: Timeline) -> list[str]:
    """The answers for people, oldest first."""
    lines: list[str] = []
    for at, event in timeline:
        if isinstance(event, Answered):
            who = f", {event.by}" if event.by else ""
            told = f"{event.question}: {'go' if event.go else 'no-go'}{who}, {_minute(at)}"
            lines += wrap(told, 0, 4)
        elif isinstance(event, Agreed):
            told = " ".join(" ".join(terms_lines(event.terms, ())).split())
            lines += wrap(f"on these terms from {_minute(at)}: {told}", 0, 4)
    return [*heading("Answered"), *lines] if lines else []


def _minute(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M}{at.isoformat()[-6:]}"


def answers_json(timeline: Timeline) -> list[Json]:
    """The answers as the document that the module describes."""
    return [
        {
            "question": event.question,
            "go": event.go,
            "by": event.by,
            "at": at.isoformat(timespec="seconds"),
        }
        for at, event in timeline
        if isinstance(event, Answered)
    ]
