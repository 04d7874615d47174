"""Several steps of one device in one request, through whole runs over sockets."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml

from mocks.faults import Fault, Kind
from mocks.nmos.habits import Habit
from mocks.referee import Referee
from mocks.server import serve
from mocks.world import World
from tests.cli.stage import ANSWERS, Stage
from tests.example import ROOT

PLAN = """
facility: Tern Point Radio
networks:
  media:
    subnet: 127.44.3.0/24
    numbering: {{range: 1-2999, numbers_per_host: 10, first_in_block: 1,
      group_range: 239.194.0.0/16, port: 5004}}
rooms: {{desk: {{site: point, network: media}}}}
devices:
  sender: {{room: desk, {speaks}, address: 127.44.3.31, serial: S-1, credentials: units}}
  listener: {{room: desk, {speaks}, address: 127.44.3.41, serial: S-2, credentials: units}}
"""
WORLD = """
port: 8080
networks: {{media: {{subnet: 127.44.3.0/24}}}}
devices:
  sender: {{make: {make}, model: {model}, serial: S-1, firmware: "{firmware}", prefix: 24,
    address: 127.44.3.31, settle_s: 0.2, sign_in: {{user: engineer, secret: invented-word}},
    sources: {{{sources}}}}}
  listener: {{make: {make}, model: {model}, serial: S-2, firmware: "{firmware}", prefix: 24,
    address: 127.44.3.41, settle_s: 0.2, sign_in: {{user: engineer, secret: invented-word}},
    destinations: {{{destinations}}}}}
"""
COUNT = 4


@dataclass(frozen=True, kw_only=True)
class Make:
    """A make that takes several steps in one request, and the path of that.

    ``pointed``: each source has a listener. Where those are pointed one by one, no source waits for
    the others to be, and so nothing goes together.
    """

    make: str
    model: str
    firmware: str
    many: str
    description: Path | None = None
    pointed: bool = False

    @property
    def by_number(self) -> bool:
        """Whether it keeps numbers; else groups alone."""
        return self.description is not None


MAKES = [
    Make(
        make="marram",
        model="MR-6",
        firmware="1.9.4",
        many="/outs",
        description=ROOT / "tests" / "devices" / "marram-frame.yaml",
    ),
    Make(
        make="nmos",
        model="SN-2",
        firmware="1.0",
        many="/x-nmos/connection/v1.1/bulk/senders",
        pointed=True,
    ),
]
each_make = pytest.mark.parametrize("make", MAKES, ids=lambda make: make.make)
SECRET = {"CUTSHEET_CREDENTIAL_UNITS": "engineer:invented-word"}


def numbers(first: int) -> dict[str, int]:
    """What each slot holds if the first of them holds this."""
    return {str(slot): first + slot - 1 for slot in range(1, COUNT + 1)}


def held(make: Make, number: int) -> str:
    """A number as the world file has it."""
    return f"number: {number}" if make.by_number else f'group: "239.194.1.{number - 256}:5004"'


def name_of(make: Make, slot: str) -> str:
    """What the tool calls a source."""
    return f"out-{slot}" if make.by_number else f"S{slot}"


@contextmanager
def staged(folder: Path, make: Make, habits: str = "") -> Iterator[Stage]:
    """Four sources that are on and move by four."""
    (folder / "devices").mkdir(parents=True)
    (folder / "playbooks").mkdir()
    speaks = "speaks: nmos, port: 8080"
    if make.description is not None:
        text = make.description.read_text(encoding="utf-8")
        for slow, quick in (("settle_s: 1", "settle_s: 0.2"), ("late_s: 1", "late_s: 0.1")):
            text = text.replace(slow, quick)
        (folder / "devices" / "unit.yaml").write_text(text, encoding="utf-8")
        speaks = "speaks: marram-frame"
    (folder / "plan.yaml").write_text(PLAN.format(speaks=speaks), encoding="utf-8")
    wanted = {name_of(make, slot): {"number": number} for slot, number in numbers(315).items()}
    playbook = {"playbook": "All of them move", "devices": {"sender": {"sources": wanted}}}
    path = folder / "playbooks" / "move.yaml"
    path.write_text(yaml.safe_dump(playbook), encoding="utf-8")
    sources = ", ".join(
        f'"{slot}": {{{held(make, number)}, label: S{slot}, enabled: true}}'
        for slot, number in numbers(311).items()
    )
    ears = {slot: make.pointed and held(make, number) for slot, number in numbers(311).items()}
    destinations = ", ".join(
        f'"{slot}": {{{f"{heard}, " if heard else ""}label: D{slot}}}'
        for slot, heard in ears.items()
    )
    text = WORLD.format(
        make=make.make, model=make.model, firmware=make.firmware, sources=sources,
        destinations=destinations,
    )  # fmt: skip
    world = World.from_text(text.replace("settle_s: 0.2, sign", f"settle_s: 0.2{habits}, sign"))
    with serve(world, connect_map=True) as running:
        yield Stage(folder, world, running)


def arrived(stage: Stage, make: Make, first: int) -> bool:
    """Whether all are on, hold what they should, and are heard there."""
    sources = stage.now("sender").sources
    ears = stage.now("listener").destinations
    groups = {slot: f"239.194.1.{number - 256}:5004" for slot, number in numbers(first).items()}
    return (
        {slot: one.group for slot, one in sources.items()} == groups
        and all(one.enabled for one in sources.values())
        and (not make.pointed or {slot: one.group for slot, one in ears.items()} == groups)
    )


def sent(stage: Stage, path: str, device: str = "sender") -> int:
    """How many writes came to a path of a device."""
    return sum(one.writes and one.path == path and one.device == device for one in stage.world.log)


def apply(stage: Stage) -> tuple[int, str]:
    """The status and the words of a run."""
    ended = stage.run("apply", "--yes", *ANSWERS, **SECRET)
    return ended.status, ended.said


@each_make
def test_all_of_them_in_three_requests_and_back(make: Make, tmp_path: Path) -> None:
    """Off, moved and on again: one request each, not one for each source; undo the same."""
    with staged(tmp_path / "facility", make) as stage:
        referee = Referee(stage.world)
        status, said = apply(stage)
        assert status == 0, said
        assert arrived(stage, make, 315)
        assert sent(stage, make.many) == 3
        others = [one for one in stage.world.log if one.writes and one.device == "sender"]
        assert {one.path for one in others} <= {make.many, "/keep", "/session"}
        referee.new_run()
        undone = stage.run("undo", stage.last(), "--yes", *ANSWERS, **SECRET)
        assert undone.status == 0, undone.said
        assert arrived(stage, make, 311)
        assert sent(stage, make.many) == 6
        assert referee.verdict().clean, referee.verdict()


@each_make
@pytest.mark.parametrize(
    "fault",
    [
        Fault(Kind.PART, method="POST", slot="2", status=423, nth=2),
        Fault(Kind.DROP_ANSWER, method="POST", nth=2),
        Fault(Kind.DROP_REQUEST, method="POST", nth=2),
        Fault(Kind.BUSY, method="POST", status=423, nth=2),
        Fault(Kind.HALF_BODY, method="POST", nth=2),
    ],
    ids=lambda fault: str(fault.kind),
)
def test_what_goes_wrong_once_is_found_out(make: Make, fault: Fault, tmp_path: Path) -> None:
    """One of them has to wait, or nobody knows of any: looked at, and sent again as needed."""
    with staged(tmp_path / "facility", make) as stage:
        referee = Referee(stage.world)
        struck = Fault(
            fault.kind, method="POST", path=make.many, nth=2, slot=fault.slot, status=fault.status
        )
        stage.world.add_fault("sender", struck)
        status, said = apply(stage)
        assert status == 0, said
        assert arrived(stage, make, 315)
        assert referee.verdict().clean, referee.verdict()


@each_make
def test_one_that_is_refused_for_good(make: Make, tmp_path: Path) -> None:
    """The others are moved and are on again; it is named in the device's own words; resume ends it.

    Its listener is left where it is.
    """
    with staged(tmp_path / "facility", make) as stage:
        referee = Referee(stage.world)
        fault = Fault(Kind.PART, method="POST", path=make.many, nth=2, slot="2", status=409)
        stage.world.add_fault("sender", fault)
        status, said = apply(stage)
        assert status == 1, said
        name = name_of(make, "2")
        assert f"sender/{name} is switched off" in said
        on = {slot for slot, one in stage.now("sender").sources.items() if one.enabled}
        assert on == {"1", "3", "4"}
        stage.world.clear_faults("sender")
        resumed = stage.run("resume", *ANSWERS, **SECRET)
        assert resumed.status == 0, resumed.said
        assert arrived(stage, make, 315)
        assert referee.verdict().clean, referee.verdict()


def test_a_node_without_bulk_requests(tmp_path: Path) -> None:
    """Each goes alone, and the run is no other."""
    make = MAKES[1]
    with staged(tmp_path / "facility", make, f", habits: [{Habit.NO_BULK}]") as stage:
        status, said = apply(stage)
        assert status == 0, said
        assert arrived(stage, make, 315)
        assert sent(stage, make.many) == 0
