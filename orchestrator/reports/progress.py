"""What happens, line by line while it happens."""

from collections.abc import Iterable
from typing import TextIO

from orchestrator.facility.step import Step
from orchestrator.reports.layout import item, seconds, wrap
from orchestrator.reports.words import failure_words, interim_steps, step_words
from orchestrator.running.events import (
    Answered,
    Checked,
    Event,
    Failed,
    Finished,
    Paused,
    Proved,
    Resumed,
    Sent,
)
from orchestrator.running.present import proved_steps
from orchestrator.running.record import RunRecord


class Progress:
    """Writes one line for each step done; fulfils ``orchestrator.running.protocols.Reporter``.

    ``events`` are those that were stored before (a run that is resumed). With ``starts`` a line
    is written when a step starts, too.
    """

    def __init__(
        self,
        record: RunRecord,
        stream: TextIO,
        events: Iterable[Event] = (),
        *,
        starts: bool = False,
    ) -> None:
        self._steps = {step.id: step for step in record.sequence.steps}
        self._soak_s = record.terms.soak_s
        self._interim = interim_steps(record.sequence)
        self._stream = stream
        self._proved = set(proved_steps(events))
        self._starts = starts

    def step_started(self, step: Step) -> None:
        """A step's intent is stored."""
        if self._starts:
            self._say(item(self._blank("begun"), self._words(step)))

    def stored(self, event: Event) -> None:
        """An event is in the ledger."""
        match event:
            case Proved(step=name, already=already) if name in self._steps:
                self._proved.add(name)
                so = ", as it was already" if already else ""
                self._say(item(self._count(), self._words(self._steps[name]) + so))
            case Failed(step=name) if name in self._steps:
                self._proved.discard(name)
                words = f"{self._words(self._steps[name])}: {failure_words(event)}"
                self._say(item(self._blank("FAILED"), words))
            case Sent(step=name, known=False) if name in self._steps:
                words = f"{self._words(self._steps[name])}: no answer; looking what became of it"
                self._say(item(self._blank("unsure"), words))
            case Answered(question=question, go=go, by=by):
                who = f" (said by {by})" if by else ""
                self._say(wrap(f"{question}: {'go' if go else 'no-go'}{who}"))
            case Checked(phase=phase, findings=findings, soaked_s=soaked):
                self._say(wrap(self._checked(phase, findings, soaked)))
            case Paused(why=why):
                self._say(wrap(f"Paused: {why}"))
            case Resumed():
                self._say(wrap("Going on: every step is looked at before it is done."))
            case Finished():
                self._say(wrap("Finished: every step is proved by reading back."))
            case _:
                pass

    def _checked(self, phase: int, findings: tuple[str, ...], soaked_s: float) -> str:
        said = f"{len(findings)} not as it should be" if findings else "all is as it should be"
        words = f"Look round before phase {phase + 1}: {said}."
        if self._soak_s and not findings:
            words += f" Watched for {seconds(soaked_s)} of {seconds(self._soak_s)}."
        return words

    def _words(self, step: Step) -> str:
        return f"{step.subject}: {step_words(step, interim=step.id in self._interim)}"

    def _count(self) -> str:
        everything = str(len(self._steps))
        return f"{str(len(self._proved)).rjust(len(everything))} of {everything} "

    def _blank(self, word: str) -> str:
        return word.ljust(len(self._count()) - 1) + " "

    def _say(self, lines: list[str]) -> None:
        self._stream.write("\n".join(lines) + "\n")
        self._stream.flush()
