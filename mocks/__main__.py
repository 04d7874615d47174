"""``python -m mocks``: the simulated world on this computer's loopback addresses.

``serve`` prints one line per device and runs until Ctrl-C or SIGTERM; then it prints what the
referee saw. SIGUSR1 writes the state file again; SIGUSR2 tells the referee that another run begins.
Exit status: 0, no safety rule was broken; 1, one was; 2, the call or the world file was wrong.
"""

import importlib
import importlib.util
import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Annotated

import typer
import yaml
from rich.console import Console

from mocks.faults import Fault
from mocks.journal import Asked, Change
from mocks.load import WorldError
from mocks.referee import Referee
from mocks.server import Running, serve
from mocks.site import addresses_of
from mocks.verdict import words
from mocks.world import World

DEFAULT_WORLD = Path(__file__).with_name("tern_point.yaml")
DONE, BROKEN, WRONG = 0, 1, 2
ENDING = {signal.SIGINT, signal.SIGTERM}
WIDEST_MAPPED = 256
LATER_COMMANDS = ("tour",)  # a module of that name beside this one brings the command

app = typer.Typer(help="Simulated devices on this computer.", no_args_is_help=True)
console = Console(highlight=False, soft_wrap=True, markup=False)


@app.callback()
def _all() -> None:
    """Simulated devices on this computer."""


@app.command("serve")
def serve_command(
    *,
    world: Annotated[
        Path,
        typer.Option(help="The world file.", show_default="tern_point.yaml beside this package"),
    ] = DEFAULT_WORLD,
    connect_map: Annotated[
        Path | None,
        typer.Option(help="Serve on 127.0.0.1 and write here which port stands for an address."),
    ] = None,
    also: Annotated[
        list[str] | None,
        typer.Option(help="An address that is to be in the connect map, too. Repeatable."),
    ] = None,
    fault: Annotated[
        list[str] | None, typer.Option(help="DEVICE:KIND[:name=value,...]. Repeatable.")
    ] = None,
    log: Annotated[Path | None, typer.Option(help="Write each request here, as JSON.")] = None,
    state: Annotated[
        Path | None, typer.Option(help="Write verdict and world here at the end and on SIGUSR1.")
    ] = None,
    port: Annotated[
        int | None, typer.Option(help="Instead of the world's port; 0 picks one.", min=0, max=65535)
    ] = None,
) -> None:
    """Serve a world until Ctrl-C; then say what the referee saw."""
    signals = {*ENDING, signal.SIGUSR1, signal.SIGUSR2}
    signal.pthread_sigmask(signal.SIG_BLOCK, signals)
    try:
        found = _world(world, port, fault or [])
        mapped = mapped_addresses(found, also or []) if connect_map else []
        referee = Referee(found)
        if log:
            found.observe(RequestLog(log))
        with serve(found, connect_map=connect_map is not None, map_addresses=mapped) as running:
            _announce(running, connect_map)
            _write_state(state, found, referee)
            while (got := signal.sigwait(signals)) not in ENDING:
                if got == signal.SIGUSR2:
                    referee.new_run()
                _write_state(state, found, referee)
        _write_state(state, found, referee)
    except (WorldError, OSError) as error:
        typer.echo(f"error: {error}", err=True)
        raise typer.Exit(WRONG) from error
    verdict = referee.verdict()
    console.print(words(verdict, referee.started_at))
    raise typer.Exit(DONE if verdict.clean else BROKEN)


def main() -> None:
    """Run the command line, with the commands whose modules are there."""
    for name in LATER_COMMANDS:
        if importlib.util.find_spec(f"mocks.{name}") is not None:
            app.command(name)(getattr(importlib.import_module(f"mocks.{name}"), name))
    app()


def mapped_addresses(world: World, also: list[str]) -> list[str]:
    """The addresses that a connect map holds from the start.

    Every host of each network that has no more than 256 addresses, what a larger network sets aside
    as transit, and ``also``. Each takes one open file; the limit is raised where that is allowed.
    """
    found = list(also)
    for network in world.site.networks:
        if network.subnet.num_addresses <= WIDEST_MAPPED:
            found.extend(str(host) for host in network.subnet.hosts())
        found.extend(addresses_of(network.transit_addresses))
    _allow_files(len(set(found)))
    return found


def _allow_files(count: int) -> None:
    import resource  # noqa: PLC0415  # only there on the systems that have the limit

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = count + 512
    if soft != resource.RLIM_INFINITY and soft < wanted:
        most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))


class RequestLog:
    """Writes each request to a file as one line of JSON, with the time of day."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._path.write_text("", encoding="utf-8")

    def changed(self, change: Change) -> None:
        """Nothing to write."""

    def asked(self, asked: Asked) -> None:
        """Write one request."""
        entry = {"time": time.strftime("%Y-%m-%dT%H:%M:%S%z"), **asked.as_dict()}
        with self._path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(entry) + "\n")

    def moved(self) -> None:
        """Nothing to write."""


def _world(path: Path, port: int | None, faults: list[str]) -> World:
    world = World.load(path)
    if port is not None:
        world.port = port
    for text in faults:
        device, _, rest = text.partition(":")
        if device not in world.names:
            raise WorldError(f"--fault {text}", f"no device {device!r} in {path}")
        try:
            world.add_fault(device, Fault.parse(rest))
        except ValueError as error:
            raise WorldError(f"--fault {text}", str(error)) from error
    return world


def _announce(running: Running, connect_map: Path | None) -> None:
    world = running.world
    for name in world.names:
        device = world.machine(name)
        address = device.memory.running.lan.address
        host, port = running.where(name)
        found = f"{address}:{port}" if connect_map is None else f"{address} at {host}:{port}"
        console.print(f"{found}  {device.make.title()} {device.unit.model}  {name}")
    if connect_map is not None:
        _replace(connect_map, yaml.safe_dump(dict(running.connect_map), sort_keys=False))
    sys.stdout.flush()


def _write_state(path: Path | None, world: World, referee: Referee) -> None:
    if path is None:
        return
    verdict = referee.verdict()
    document = {
        "started_at": referee.started_at,
        "at": world.clock(),
        "clean": verdict.clean,
        "verdict": verdict.as_dict(),
        "devices": world.snapshot(),
        "requests": {name: world.requests(name) for name in world.names},
        "writes": {name: world.writes(name) for name in world.names},
    }
    _replace(path, json.dumps(document, indent=2))


def _replace(path: Path, text: str) -> None:
    """Write a file so that nobody ever reads half of it."""
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    beside.write_text(text, encoding="utf-8")
    beside.replace(path)


if __name__ == "__main__":
    main()
