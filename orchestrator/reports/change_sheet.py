"""The change sheet: one change on paper, for the people in the maintenance window.

Parts as a method of procedure has them (common practice, no source): head, people, before,
steps with go/no-go points, tests, back-out with the last time to turn back, after.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from orchestrator.facility.step import Step, StepKind
from orchestrator.planning.result import DryRun
from orchestrator.reports.cautions import CAUTIONS
from orchestrator.reports.layout import seconds
from orchestrator.reports.markdown import bullet, code, paragraph, prose, section
from orchestrator.reports.words import batch_mates, interim_steps, step_words

_BLANK_LINE = ". " * 20


@dataclass(frozen=True, slots=True)
class Window:
    """When the change may be made. ``margin`` is kept free before ``end``."""

    start: datetime
    end: datetime
    margin: timedelta = timedelta(0)

    def last_return(self, back_out: timedelta) -> datetime:
        """The last time to turn back, for a back-out that takes that long."""
        return self.end - self.margin - back_out


def text(
    dry_run: DryRun,
    digest: str,
    title: str,
    rooms: Mapping[str, str],
    window: Window | None = None,
) -> str:
    """The change sheet in Markdown, to be printed; what is filled in by hand is left open.

    Taking all of it back is reckoned to take as long as doing it.
    """
    lines = [
        f"# Change sheet: {prose(title)}",
        "",
        *paragraph(f"{prose(dry_run.facility)}. Digest of the sequence: {code(digest)}."),
        *section("What goes silent"),
        *_silence(dry_run),
        *section("Window"),
        *_window(dry_run, window),
        *section("People"),
        *_open("runs it", "watches and listens", "may say stop", "voice channel", "approved by"),
        *section("Before"),
        *(line for caution in CAUTIONS for line in _tick(f"**{caution.about}.** {caution.text}")),
        *_tick("Nobody else works on these devices tonight; freeze dates looked up."),
        *_tick("Dry-run made again from a fresh survey; the digest is the one above."),
        *_tests(dry_run, "Heard before the change, in each room:"),
        *section("Steps"),
        *_steps(dry_run, rooms),
        *section("Tests"),
        *_tests(dry_run, "Heard after the change, the same list:"),
        *section("Back-out"),
        *_tick("'cutsheet undo', or by hand with the rollback notes."),
        *_tick("The tests above, once more."),
        *section("After"),
        *_tick("Leave it running under watch for the soak time agreed."),
        *_tick("'cutsheet audit' finds nothing; 'cutsheet adopt' has brought the plan up to date."),
        *_open("signed off by", "at"),
    ]
    return "\n".join(lines) + "\n"


def _silence(dry_run: DryRun) -> list[str]:
    if not dry_run.silence:
        return paragraph("Nothing that the tool can see.")
    entries = sorted(dry_run.silence, key=lambda entry: (not entry.on_air, -entry.seconds))
    return [
        line
        for entry in entries
        for line in bullet(
            f"{code(f'{entry.device}/{entry.source or entry.destination}')}: about "
            f"{seconds(entry.seconds)}{' **(on air)**' if entry.on_air else ''}"
        )
    ]


def _window(dry_run: DryRun, window: Window | None) -> list[str]:
    length = dry_run.estimate.seconds
    lines = bullet(f"The change takes about {seconds(length)}, and as long again to take back.")
    if window is None:
        return lines + _open("from", "to", "last time to turn back")
    back = window.last_return(timedelta(seconds=length))
    lines += bullet(f"From {_clock(window.start)} to {_clock(window.end)}.")
    return lines + bullet(f"**Last time to turn back: {_clock(back)}.**")


def _clock(when: datetime) -> str:
    return when.strftime("%Y-%m-%d %H:%M:%S")


def _steps(dry_run: DryRun, rooms: Mapping[str, str]) -> list[str]:
    lines: list[str] = []
    steps = dry_run.sequence.steps
    interim = interim_steps(dry_run.sequence)
    mates = batch_mates(steps)
    for phase in sorted({step.phase for step in steps}):
        inside = [(n, step) for n, step in enumerate(steps, 1) if step.phase == phase]
        names = dict.fromkeys(rooms.get(step.device, step.device) for _, step in inside)
        lines += section(f"Phase {phase + 1}: {prose(', '.join(names))}", 3)[0 if lines else 1 :]
        if phase > 0:
            lines += _tick("**Go / no-go**, said by . . . . . . . . at . . . . .")
        for number, step in inside:
            lines += _step(number, step, mates.get(step.id, ()), transit=step.id in interim)
    return lines or paragraph("There are no steps.")


def _step(number: int, step: Step, mates: Sequence[Step], *, transit: bool) -> list[str]:
    words = prose(step_words(step, interim=transit))
    ears = " **Headphones off, monitors down.**" if step.kind is StepKind.ENABLE else ""
    after = f" After {', '.join(map(prose, step.after))}." if step.after else ""
    if mates:
        after += f" In one request with {', '.join(prose(each.id) for each in mates)}."
    mark = f"- [ ] {number}. ({prose(step.id)})"
    return paragraph(f"{mark} {code(step.subject)}: {words}.{after}{ears}".removeprefix("- "), "- ")


def _tests(dry_run: DryRun, head: str) -> list[str]:
    subjects = dict.fromkeys(
        step.subject
        for step in dry_run.sequence.steps
        if step.source is not None or step.destination is not None
    )
    lines = paragraph(head, "- [ ] ")
    for subject in subjects:
        lines += paragraph(f"[ ] {code(subject)}", "  - ")
    return lines


def _tick(words: str) -> list[str]:
    return paragraph(words, "- [ ] ")


def _open(*names: str) -> list[str]:
    return [line for name in names for line in bullet(f"{name}: {_BLANK_LINE.strip()}")]
