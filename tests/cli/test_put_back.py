"""A unit's whole configuration: stored before a run, and put back after it was spoilt."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
import yaml

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.referee import Referee
from mocks.server import Running, serve
from mocks.world import World
from tests.cli.stage import APPLY, Ended, cutsheet

PLAN = """
facility: Tern Point Radio
networks:
  media:
    subnet: 127.44.3.0/24
    numbering: {range: 1-2999, numbers_per_host: 10, first_in_block: 1,
                group_range: 239.194.0.0/16, port: 5004}
rooms:
  rack: {site: point, network: media}
devices:
  rack-node: {room: rack, speaks: nmos, address: 127.44.3.41, serial: SW-7,
              sources: {air: {slot: PGM}}}
  ear-node: {room: rack, speaks: nmos, address: 127.44.3.42, serial: SW-8}
"""
PLAYBOOK = """
playbook: Another number, and off
devices:
  rack-node: {sources: {air: {number: 412, enabled: false}}}
"""
UNIT = 'model: SN-2, firmware: "1.0", prefix: 24'
WORLD = f"""
networks: {{media: {{subnet: 127.44.3.0/24}}}}
devices:
  rack-node: {{make: nmos, serial: SW-7, address: 127.44.3.41, {UNIT}, configuration: true,
    sources: {{program: {{number: 411, label: PGM, enabled: true}}}}}}
  ear-node: {{make: nmos, serial: SW-8, address: 127.44.3.42, {UNIT},
    destinations: {{monitor: {{group: "239.194.1.155:5004", label: MON}}}}}}
"""
LABEL = "/x-nmos/configuration/v1.0/rolePaths/root.DeviceManager/properties/3p6/value"


class Rack:
    """A facility with two nodes, of which one offers its configuration, and a run that is done."""

    def __init__(self, folder: Path, world: World, running: Running) -> None:
        self.folder = folder
        self.world = world
        self.running = running
        self.ways = folder / "connect.yaml"
        self.ways.write_text(yaml.safe_dump(dict(running.connect_map)), encoding="utf-8")
        self.applied = self.run(*APPLY)
        self.name = self.run("runs", "--json", way=False).json["runs"][-1]["id"]
        self.kept = folder / "runs" / self.name / "configuration-rack-node.json"

    def run(self, *arguments: str, way: bool = True) -> Ended:
        """Run a command here."""
        ways = ("--connect-file", str(self.ways)) if way else ()
        return cutsheet(*arguments, "--facility", str(self.folder), *ways)

    def put_back(self, *more: str) -> Ended:
        """Put the node's configuration back."""
        return self.run("put-back", self.name, "rack-node", *more)

    def device_name(self, wanted: str | None = None) -> str:
        """The name of the unit in its own model; with ``wanted``, first set by another hand."""
        url = self.running.url("rack-node", LABEL)
        if wanted is not None:
            assert httpx.put(url, json={"value": wanted}).status_code == 200
        found: str = httpx.get(url).json()["value"]
        return found


@contextmanager
def rack(folder: Path) -> Iterator[Rack]:
    """The facility, after its run."""
    (folder / "plan.yaml").write_text(PLAN, encoding="utf-8")
    (folder / "playbooks").mkdir()
    (folder / "playbooks" / "one.yaml").write_text(PLAYBOOK, encoding="utf-8")
    world = World.from_text(WORLD, HandClock())
    referee = Referee(world)
    with serve(world, connect_map=True) as running:
        yield Rack(folder, world, running)
    assert referee.verdict().clean, referee.verdict()


def test_it_is_stored_before_the_first_write_and_put_back(tmp_path: Path) -> None:
    """With the run, and told in the notes; to check writes nothing, to put back takes a person."""
    with rack(tmp_path) as here:
        assert here.applied.status == 0, here.applied.said
        kept = json.loads(here.kept.read_text(encoding="utf-8"))
        assert (kept["device"], kept["serial"], kept["run"]) == ("rack-node", "SW-7", here.name)
        notes = here.run("rollback-notes", here.name, way=False).said
        assert "configuration-rack-node.json" in notes
        assert "configuration-ear-node" not in notes
        here.device_name("Spoilt")
        before = here.world.snapshot()
        checked = here.put_back("--check")
        assert (checked.status, here.world.snapshot()) == (0, before), checked.said
        assert "would put back" in checked.said
        nobody = here.put_back()
        assert (nobody.status, here.device_name()) == (1, "Spoilt")
        assert "Nothing was written to rack-node" in nobody.said


def test_a_restore_says_what_is_on(tmp_path: Path) -> None:
    """The stored switch was on before the run: the unit comes on again, and that is said first."""
    with rack(tmp_path) as here:
        here.device_name("Spoilt")
        done = here.put_back("--accept", "put-back=a test", "--json")
        assert (done.status, here.device_name()) == (1, "rack-node"), done.said
        assert done.json["written"] is True
        assert done.json["came_on"] == ["air"]


def test_a_unit_that_sends_is_left_alone(tmp_path: Path) -> None:
    """What is put back may renumber or switch what is heard; it may be asked all the same."""
    with rack(tmp_path) as here:
        here.world.another_hand("rack-node").set_source("program", enabled=True)
        refused = here.put_back("--accept", "put-back=a test")
        assert refused.status == 2
        assert "rack-node sends: air is on" in refused.said
        assert here.put_back("--check").status == 0


@pytest.mark.parametrize(
    ("change", "device", "said", "status"),
    [
        ("", "ear-node", "it offers none, or was not part of the run", 2),
        ("off_limits", "rack-node", "rack-node is off limits", 2),
        ("serial", "rack-node", "was not found", 2),
        ("file", "rack-node", "the file is gone", 2),
    ],
)
def test_what_is_refused(tmp_path: Path, change: str, device: str, said: str, status: int) -> None:
    """No configuration; off limits; another unit; no file. Nothing is written."""
    with rack(tmp_path) as here:
        plan = here.folder / "plan.yaml"
        if change == "off_limits":
            (here.folder / "playbooks" / "one.yaml").unlink()
            plan.write_text(PLAN.replace("serial: SW-7,", "serial: SW-7, off_limits: alert chain,"))
        elif change == "serial":
            plan.write_text(PLAN.replace("SW-7", "SW-6"))
        elif change == "file":
            here.kept.unlink()
        before = here.world.snapshot()
        found = here.run("put-back", here.name, device, "--accept", "put-back=a test")
        assert (found.status, said in found.said) == (status, True), found.said
        assert here.world.snapshot() == before


def test_a_unit_that_can_not_give_it_stops_nothing(tmp_path: Path) -> None:
    """The run goes on without it, and the notes say why."""
    (tmp_path / "plan.yaml").write_text(PLAN, encoding="utf-8")
    (tmp_path / "playbooks").mkdir()
    (tmp_path / "playbooks" / "one.yaml").write_text(PLAYBOOK, encoding="utf-8")
    world = World.from_text(WORLD, HandClock())
    world.add_fault("rack-node", Fault(Kind.ERROR, path="/x-nmos/configuration/", always=True))
    with serve(world, connect_map=True) as running:
        here = Rack(tmp_path, world, running)
        assert here.applied.status == 0, here.applied.said
        notes = here.run("rollback-notes", here.name, way=False).said
    assert "none is kept" in notes
    assert not here.kept.exists()
