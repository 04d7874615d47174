"""``python -m mocks tour``: the whole job on the example facility, over real sockets, told.

The simulated devices are served in this process; the tool is run as a person would run it, a
command at a time, in another. The referee watches the devices and has the last word.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
import textwrap
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import httpx
import typer
import yaml

from mocks.doors import CannotListen
from mocks.referee import Referee
from mocks.server import Running, serve
from mocks.verdict import Verdict, words
from mocks.world import World

HERE = Path(__file__).parent
EXAMPLE = HERE.parent / "playbooks"
WORLD = HERE / "tern_point.yaml"
ENGINE, BENCH, HOME = "studio-north-engine", "127.0.2.50", "127.44.3.31"
STEP = re.compile(r" *\d+ of \d+  ")
QUESTIONS = ("who-is-on-air", "monitors-down", "alert-chain", "go:1", "go:2", "go:3", "go:4")
ANSWERED = [
    part
    for question in QUESTIONS
    for part in ("--accept", f"{question}=a tour on simulated devices")
]


class TourFailed(Exception):
    """A command did not end as it should have."""


@dataclass(frozen=True)
class Told:
    """What a command printed, and how it ended."""

    text: str
    status: int


@dataclass
class Guide:
    """Runs the tool in a copy of the example facility, and tells what is seen."""

    folder: Path
    connect: Path | None
    environment: Mapping[str, str]
    stop: int = 0

    def say(self, text: str) -> None:
        """Say one paragraph."""
        typer.echo("")
        for line in textwrap.wrap(" ".join(text.split()), 79):
            typer.echo(line)

    def heading(self, text: str) -> None:
        """Begin the next stop of the tour."""
        self.stop += 1
        line = f"{self.stop}. {text}"
        typer.echo(f"\n\n{line}\n{'=' * len(line)}")

    def run(self, *arguments: str, status: int = 0) -> Told:
        """Run one command of the tool.

        Raises:
            TourFailed: it ended otherwise than with ``status``.
        """
        shown = " ".join(a for a in arguments if a not in ANSWERED or a == "")
        typer.echo(f"\n  $ cutsheet {shown}\n")
        ways = ["--connect-file", str(self.connect)] if self._reaches(arguments) else []
        done = subprocess.run(  # noqa: S603 - our own command, our own arguments
            [sys.executable, "-m", "orchestrator.cli.main", *arguments, *ways],
            cwd=self.folder,
            env=dict(self.environment),
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode != status:
            raise TourFailed(
                f"'cutsheet {shown}' ended with {done.returncode}, not {status}:\n"
                f"{done.stdout}\n{done.stderr}"
            )
        return Told(done.stdout, done.returncode)

    def _reaches(self, arguments: tuple[str, ...]) -> bool:
        """Whether a command speaks to devices, somewhere else than at their own addresses."""
        talking = {"survey", "dry-run", "apply", "undo", "audit", "explain", "resume"}
        return self.connect is not None and arguments[0] in talking

    def show(
        self, text: str, *, first: int | None = None, since: str = "", until: str = ""
    ) -> None:
        """Show a command's output, or the part of it between two lines, indented."""
        lines = text.rstrip("\n").splitlines()
        if since:
            lines = lines[next(i for i, line in enumerate(lines) if line.startswith(since)) :]
        if until:
            ends = (i for i, line in enumerate(lines) if line.startswith(until))
            lines = lines[: next(ends, len(lines))]
        cut = lines if first is None else lines[:first]
        for line in cut:
            typer.echo(line.rstrip())
        if len(cut) < len(lines):
            typer.echo(f"... {len(lines) - len(cut)} more lines")


def tour(
    keep: Annotated[
        Path | None,
        typer.Option(help="Work in this new folder. Default: a new one for temporary files."),
    ] = None,
) -> None:
    """Take the example facility through the whole job, and let the referee judge."""
    started = time.monotonic()
    if keep is not None and keep.exists():
        raise typer.BadParameter(f"{keep} is there already; name a folder that is not")
    folder = keep or Path(tempfile.mkdtemp(prefix="cutsheet-tour-")) / "facility"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns("runs", "__pycache__", "*.py"))
    world = World.load(WORLD)
    referee = Referee(world)
    try:
        with _served(world) as running:
            guide = Guide(folder, _connect_map(running, folder), _environment(WORLD))
            _walk(guide, running, referee)
    except TourFailed as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(1) from None
    verdict = referee.verdict()
    guide.heading("The referee's verdict")
    guide.say(
        """It watched every simulated device at every instant, apply and undo alike. It knows the
        safety rules and nothing of the tool."""
    )
    _judge(verdict, referee)
    guide.say(f"The tour took {time.monotonic() - started:.0f} s. The rollback notes are here:")
    for path in sorted(folder.glob("runs/*/rollback-notes.md")):
        typer.echo(f"  {path}")
    raise typer.Exit(0 if verdict.clean else 1)


def _judge(verdict: Verdict, referee: Referee) -> None:
    writes = sum(entry.count for entry in verdict.writes)
    devices = len({entry.device for entry in verdict.writes})
    longest = sorted(
        (s for s in verdict.silences if s.seconds is not None),
        key=lambda silence: -(silence.seconds or 0.0),
    )
    on_air = [silence.source for silence in verdict.silences if silence.on_air]
    typer.echo("")
    typer.echo(f"  writes seen              {writes}, on {devices} devices")
    if longest:
        typer.echo(f"  longest silence          {longest[0].seconds:.1f} s, {longest[0].source}")
    typer.echo(f"  on air and interrupted   {', '.join(on_air) or 'nothing'}")
    if verdict.clean:
        typer.echo("  safety rules broken      none, at any instant")
        return
    typer.echo(words(verdict, referee.started_at))


def _served(world: World):  # type: ignore[no-untyped-def]  # noqa: ANN202 - serve()'s own type
    """Serve at the devices' own addresses, or behind a connect map where that can't be."""
    try:
        manager = serve(world)
        return _Entered(manager, manager.__enter__())
    except CannotListen as error:
        for line in textwrap.wrap(f"{error}. So it goes on with a connect map on 127.0.0.1.", 79):
            typer.echo(line)
        return serve(world, connect_map=True, map_addresses=_addresses(world))


class _Entered:
    """A context that has been entered already."""

    def __init__(self, manager, running: Running) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001
        self._manager = manager
        self._running = running

    def __enter__(self) -> Running:
        return self._running

    def __exit__(self, *error: object) -> None:
        self._manager.__exit__(*error)


def _addresses(world: World) -> list[str]:
    """Every host of the facility's networks: where a device may stand during the tour."""
    return [str(host) for network in world.site.networks for host in network.subnet.hosts()]


def _connect_map(running: Running, folder: Path) -> Path | None:
    try:
        ways = dict(running.connect_map)
    except TypeError:
        return None
    path = folder / "connect.yaml"
    path.write_text(yaml.safe_dump(ways, sort_keys=False), encoding="utf-8")
    return path


def _environment(world: Path) -> Mapping[str, str]:
    """The simulated devices' sign-ins, by the explicit way for computers without a keyring."""
    devices = yaml.safe_load(world.read_text(encoding="utf-8"))["devices"]
    signs = {entry["make"]: entry["sign_in"] for entry in devices.values()}
    return {
        **os.environ,
        "COLUMNS": "80",
        "PYTHONPATH": str(HERE.parent),
        "CUTSHEET_CREDENTIALS": "environment",
        "CUTSHEET_CREDENTIAL_CORVID_UNITS": "{user}:{secret}".format(**signs["corvid"]),
        "CUTSHEET_CREDENTIAL_TAMARISK_UNITS": signs["tamarisk"]["secret"],
    }


def _walk(guide: Guide, running: Running, referee: Referee) -> None:
    _look(guide)
    _plan(guide)
    _apply(guide, running)
    _afterwards(guide)
    referee.new_run()
    _take_back(guide)


def _look(guide: Guide) -> None:
    guide.heading("The documents")
    guide.say(
        """Tern Point Radio keeps its record in plan.yaml. Five playbooks ask for changes in four
        rooms: a new engine joins from the bench, a used node too, programme numbers change
        places, two nodes exchange addresses, a number held twice is mended."""
    )
    guide.show(guide.run("check").text)
    guide.heading("The survey: what the devices say of themselves")
    told = guide.run("survey", "--out", "before.json")
    guide.show(told.text, first=14)
    guide.say("The audit finds what is wrong already:")
    found = guide.run("audit", "--as-found", "before.json", status=1).text
    guide.show(found, since="At risk", first=8)


def _plan(guide: Guide) -> None:
    guide.heading("The dry-run: what would change, in which order, at what risk")
    told = guide.run("dry-run", status=1)
    (guide.folder / "dry-run.txt").write_text(told.text, encoding="utf-8")
    guide.show(told.text, first=16)
    guide.say("What needs a person's name, before anything is written:")
    guide.show(told.text, since="Needs a name", until="Changes")
    guide.say("The length of it:")
    guide.show(told.text, since="About")
    guide.say(f"The whole of it is in {guide.folder / 'dry-run.txt'}.")
    guide.say("Why does one step stand where it stands?")
    guide.show(guide.run("explain", "studio-south-io/mixer").text)


def _apply(guide: Guide, running: Running) -> None:
    guide.heading("Apply, room by room")
    guide.say(
        """Before the first write the tool asks who is on air, whether monitors are down and
        whether the alert chain is touched; the tour answers them by name. Ctrl-C would finish
        the steps in hand and pause."""
    )
    _who(guide, running, (BENCH, HOME))
    told = guide.run("apply", "--yes", *ANSWERED)
    lines = told.text.splitlines()
    steps = [line for line in lines if STEP.match(line)]
    for line in [*steps[:8], f"... {len(steps) - 16} more steps", *steps[-8:]]:
        typer.echo(line)
    guide.show(told.text, since="Finished", until="Silent now")
    guide.say("The new engine has left the bench and really answers elsewhere:")
    _who(guide, running, (BENCH, HOME))


def _who(guide: Guide, running: Running, addresses: tuple[str, ...]) -> None:
    """Ask who answers at each address, without the tool."""
    user = guide.environment["CUTSHEET_CREDENTIAL_CORVID_UNITS"].partition(":")
    for address in addresses:
        where = f"{address}:{running.port}"
        if guide.connect is not None:
            where = running.connect_map[address]
        try:
            answer = httpx.get(f"http://{where}/unit", auth=(user[0], user[2]), timeout=2)
            said = f"serial {answer.json()['serial']} answers"
        except httpx.TransportError:
            said = "nobody answers"
        typer.echo(f"  {address}: {said}")


def _afterwards(guide: Guide) -> None:
    guide.heading("Afterwards")
    guide.say("Nothing is left to change, and the audit sees it:")
    guide.show(guide.run("dry-run").text)
    guide.show(guide.run("audit").text)


def _take_back(guide: Guide) -> None:
    guide.heading("Undo: the way back, planned and proved like the way there")
    told = guide.run("runs").text
    guide.show(told)
    run = told.splitlines()[-1].split()[0]
    back = guide.run("undo", run, "--yes", *ANSWERED)
    guide.show(back.text, since="Stays", until="Dry-run")
    guide.show(back.text, since="Finished", until="Silent now")
    guide.run("survey", "--out", "after.json")
    before, after = (_sources(guide.folder / name) for name in ("before.json", "after.json"))
    different = {name for name in before if before[name] != after.get(name)}
    guide.say(f"Different from the survey before: {', '.join(sorted(different)) or 'nothing'}.")
    if different != {"studio-south-returns"}:
        raise TourFailed(f"undo left {sorted(different)} different")
    guide.say("That is the number that was held twice: mended, and it stays mended.")


def _sources(path: Path) -> dict[str, object]:
    """What a saved survey says of each device, but for how quickly it answered."""
    devices = yaml.safe_load(path.read_text(encoding="utf-8"))
    found = devices.get("devices") or devices["as_found"]["devices"]
    return {name: (entry["at"], entry["state"]) for name, entry in found.items()}
