"""The command that brings up fresh and reused units on a bench."""

import asyncio
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, TextIO

import typer
from rich.console import Console
from rich.prompt import Prompt

from orchestrator import computer
from orchestrator.actions.apply import Attendance
from orchestrator.actions.bench.bring_up import BenchWish, bench
from orchestrator.actions.propose import Choice
from orchestrator.cli.accepting import accepts_of
from orchestrator.cli.change import KeepCopyOption, YesOption
from orchestrator.cli.connect_map import read_connect_file
from orchestrator.cli.options import (
    AcceptOption,
    ConnectFileOption,
    ConnectOption,
    FacilityOption,
    JsonOption,
    PlaybookOption,
    desk_at,
    pairs,
)
from orchestrator.cli.pairs_file import read_pairs_file
from orchestrator.cli.person import Keyboard, agreed
from orchestrator.cli.show import end, show, show_json
from orchestrator.documents.as_found import read_as_found
from orchestrator.errors import EXIT_DONE, EXIT_FOUND
from orchestrator.reports import bench as report
from orchestrator.reports.bench import UnitState
from orchestrator.reports.progress import Progress

_GO, _STOP = "go", "stop"
_ANSWERS = ("map of names to reasons", "monitors-down: the booth is empty, and muted")
_OF_THE_BENCH = ("bench:", "serial:", "bench-routes")


UnitOption = Annotated[
    list[str] | None,
    typer.Option("--unit", metavar="NAME", help="Only this unit (repeatable), in this order."),
]
AsFoundOption = Annotated[
    Path | None,
    typer.Option(
        "--as-found",
        metavar="FILE",
        help="A saved survey of the facility, where this computer can't reach it meanwhile.",
    ),
]
WaitOption = Annotated[
    float,
    typer.Option("--wait", min=1, help="Seconds to wait for a unit, and for a moved cable."),
]
AnswersOption = Annotated[
    Path | None,
    typer.Option(
        "--answers", metavar="FILE", help="A file (YAML) of such names, each with its reason."
    ),
]


class BenchPerson(Keyboard):
    """Asks for cables and units by a prompt of two words; questions of safety as ever."""

    async def answered(self, question: str) -> bool:
        """What the person at the terminal says to ``question``."""
        if not question.startswith(_OF_THE_BENCH):
            return await super().answered(question)
        console = Console(file=self.stream, highlight=False)
        said = await asyncio.to_thread(
            Prompt.ask, f"  {question}", console=console, choices=[_GO, _STOP]
        )
        return said == _GO


def bench_command(
    facility: FacilityOption = None,
    playbook: PlaybookOption = None,
    unit: UnitOption = None,
    as_found: AsFoundOption = None,
    wait: WaitOption = 300,
    accept: AcceptOption = None,
    answers: AnswersOption = None,
    keep_copy: KeepCopyOption = None,
    yes: YesOption = False,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring up fresh and reused units on a bench, one at a time, until they have joined.

    What stops it can be put right; called again, it goes on where it was. Exit status: 0 all have
    joined, 1 one has not.
    """
    desk = desk_at(facility, playbook, connect, connect_file)
    given = read_pairs_file(answers, *_ANSWERS) if answers is not None else {}
    choice = Choice(accepted={**given, **pairs(accept or (), "--accept", "NAME=REASON")})
    accepted = accepts_of(desk, choice)
    stream = sys.stderr if as_json else sys.stdout
    wish = BenchWish(
        choice=choice,
        look=computer.look,
        agree=lambda text: agreed(text, yes=yes),
        tell=lambda lines: print(*lines, sep="\n", file=stream, flush=True),
        only=tuple(unit or ()),
        found=read_as_found(as_found) if as_found is not None else None,
        elsewhere=_elsewhere(connect, connect_file),
        wait_s=wait,
    )
    ends = asyncio.run(bench(desk, wish, _attendance(accepted, keep_copy, stream)))
    if as_json:
        show_json(report.as_json(ends))
    else:
        show(report.text(ends))
    joined = all(one.state in (UnitState.JOINED, UnitState.JOINED_BEFORE) for one in ends)
    end(EXIT_DONE if joined else EXIT_FOUND)


def _attendance(accepted: Mapping[str, str], keep_copy: Path | None, stream: TextIO) -> Attendance:
    return Attendance(
        person=BenchPerson(accepted, stream),
        reporter_for=lambda record, events: Progress(record, stream, events),
        keep_copy=keep_copy,
    )


def _elsewhere(connect: Sequence[str] | None, connect_file: Path | None) -> frozenset[str]:
    """The addresses that a connect map sends somewhere else."""
    mapped = read_connect_file(connect_file) if connect_file is not None else {}
    return frozenset({*mapped, *pairs(connect or (), "--connect", "ADDRESS=HOST:PORT")})
