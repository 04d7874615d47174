"""One whole change through every described make, over sockets: what a night's work is made of.

A unit is disabled, renumbered, relabelled and moved to another address; who listens to it is
pointed at the new number; all is saved, confirmed, enabled and read back. Then it is all taken
back. The same plan and playbook for each make; only the device description differs.
"""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml

from mocks.referee import Referee
from mocks.server import serve
from mocks.world import World
from tests.cli.stage import ANSWERS, Stage
from tests.example import FACILITY, ROOT

OLD, NEW, LISTENER = "127.44.3.31", "127.44.3.35", "127.44.3.41"


@dataclass(frozen=True)
class Make:
    """A make: its description, its simulation, and what its slots are called."""

    description: Path
    make: str
    model: str
    firmware: str
    slots: tuple[str, str, str]
    sources: tuple[str, str]
    hears: str
    saves: bool


DEVICES = FACILITY / "devices"
GROUP = "239.194.1.55:5004"
MAKES = [
    Make(
        DEVICES / "corvid-engine.yaml",
        *("corvid", "CE-40", "4.1.2"),
        slots=("program-1", "program-2", "codec-1"),
        sources=("program-1", "program-2"),
        hears="number: 311",
        saves=False,
    ),
    Make(
        DEVICES / "tamarisk-node.yaml",
        *("tamarisk", "TN-8", "2.7.3"),
        slots=("1", "3", "1"),
        sources=("input-1", "input-3"),
        hears=f'group: "{GROUP}"',
        saves=True,
    ),
    Make(
        ROOT / "tests" / "devices" / "marram-frame.yaml",
        *("marram", "MR-6", "1.9.4"),
        slots=("1", "3", "2"),
        sources=("out-1", "out-3"),
        hears="number: 311",
        saves=True,
    ),
]
every_make = pytest.mark.parametrize("make", MAKES, ids=lambda make: make.make)

PLAN = """
facility: Tern Point Radio
networks:
  media:
    subnet: 127.44.3.0/24
    gateway: 127.44.3.254
    numbering: {{range: 1-2999, numbers_per_host: 10, first_in_block: 1,
      group_range: 239.194.0.0/16, port: 5004}}
rooms: {{desk: {{site: point, network: media}}}}
devices:
  sender:
    {{room: desk, speaks: {name}, address: 127.44.3.31, serial: S-1, credentials: units}}
  listener:
    {{room: desk, speaks: {name}, address: 127.44.3.41, serial: S-2, credentials: units}}
"""
PLAYBOOK = """
playbook: The sender moves house
devices:
  sender:
    address: 127.44.3.35
    sources:
      {first}: {{number: 351, label: NEW-1, enabled: true}}
      {second}: {{number: auto}}
    settings: {{ptp_domain: 5}}
accepts:
  - {{hazard: "plant-wide:sender:ptp_domain", reason: both units are on one desk}}
"""
WORLD_TEXT = """
port: 8080
networks: {{media: {{subnet: 127.44.3.0/24}}}}
meant: {{}}
devices:
  sender:
    {{make: {make}, model: {model}, serial: S-1, firmware: "{firmware}", address: 127.44.3.31,
      prefix: 24, gateway: 127.44.3.254, sign_in: {{{sign_in}}},
      sources: {{"{slot}": {{number: 311, label: OLD-1, enabled: true}},
        "{second_slot}": {{number: 312}}}},
      destinations: {{"{input}": {{{nothing}}}}}}}
  listener:
    {{make: {make}, model: {model}, serial: S-2, firmware: "{firmware}", address: 127.44.3.41,
      prefix: 24, gateway: 127.44.3.254, sign_in: {{{sign_in}}},
      sources: {{"{slot}": {{number: 411}}}},
      destinations: {{"{input}": {{{hears}, label: MON}}}}}}
"""


def world_of(make: Make) -> World:
    """Two units of the make: one sends, the other listens."""
    user = "user: engineer, " if make.make != "tamarisk" else ""
    nothing = 'group: ""' if make.hears.startswith("group") else "number: 0"
    return World.from_text(
        WORLD_TEXT.format(
            make=make.make,
            model=make.model,
            firmware=make.firmware,
            sign_in=f"{user}secret: invented-word",
            slot=make.slots[0],
            second_slot=make.slots[1],
            input=make.slots[2],
            hears=make.hears,
            nothing=nothing,
        )
    )


@contextlib.contextmanager
def staged(folder: Path, make: Make) -> Iterator[Stage]:
    """A facility of two units of the make, served on sockets."""
    description = make.description.read_text(encoding="utf-8")
    for slow, quick in (("settle_s: 1", "settle_s: 0.2"), ("late_s: 1", "late_s: 0.1")):
        description = description.replace(slow, quick)
    name = yaml.safe_load(description)["device"]
    (folder / "devices").mkdir(parents=True)
    (folder / "playbooks").mkdir()
    (folder / "devices" / f"{name}.yaml").write_text(description, encoding="utf-8")
    (folder / "plan.yaml").write_text(PLAN.format(name=name), encoding="utf-8")
    first, second = make.sources
    (folder / "playbooks" / "move.yaml").write_text(
        PLAYBOOK.format(first=first, second=second), encoding="utf-8"
    )
    world = world_of(make)
    with serve(world, connect_map=True, map_addresses=[NEW]) as running:
        yield Stage(folder, world, running)


def credentials(make: Make) -> dict[str, str]:
    """What the two units take."""
    user = "" if make.make == "tamarisk" else "engineer:"
    return {"CUTSHEET_CREDENTIAL_UNITS": f"{user}invented-word"}


@every_make
def test_a_whole_change_and_all_of_it_taken_back(make: Make, tmp_path: Path) -> None:
    """Every step lands and is read back, no safety rule is broken, and the way back is whole."""
    secret = credentials(make)
    with staged(tmp_path / "facility", make) as stage:
        referee = Referee(stage.world)
        before = stage.world.snapshot()
        planned = stage.run("dry-run", "--json", **secret).json
        steps = [each["step"] for each in planned["sequence"]]
        wanted = {"disable", "renumber", "set", "repoint", "readdress", "confirm", "enable"}
        assert set(steps) == wanted | ({"save"} if make.saves else set())
        applied = stage.run("apply", "--yes", *ANSWERS, **secret)
        assert applied.status == 0, applied.said

        now = stage.now("sender")
        source = now.sources[make.slots[0]]
        assert (source.number, source.label, source.enabled) == (351, "NEW-1", True)
        assert (now.lan.address, now.lan.gateway) == (NEW, "127.44.3.254")
        assert now.settings == {"ptp_domain": 5, "ptp_priority": 128}
        heard = stage.now("listener").destinations[make.slots[2]]
        assert heard.group == "239.194.1.95:5004" or heard.number == 351
        assert heard.label == "MON"
        assert stage.world.machine("sender").memory.saved == now
        assert stage.run("dry-run", **secret).status == 0

        referee.new_run()
        undone = stage.run("undo", stage.last(), "--yes", *ANSWERS, **secret)
        assert undone.status == 0, undone.said
        assert stage.world.snapshot() == before
        assert referee.verdict().clean, referee.verdict()


@every_make
def test_another_hand_is_never_overwritten(make: Make, tmp_path: Path) -> None:
    """Somebody gives the source another number between the survey and the write: the run stops."""
    secret = credentials(make)
    with staged(tmp_path / "facility", make) as stage:
        order = tmp_path / "order.yaml"
        stage.run("dry-run", "--out", str(order), **secret)
        stage.world.another_hand("sender").set_source(make.slots[0], number=399)
        applied = stage.run("apply", str(order), "--yes", *ANSWERS, **secret)
        assert applied.status != 0
        assert stage.now("sender").sources[make.slots[0]].number == 399
        assert stage.now("sender").lan.address == OLD
