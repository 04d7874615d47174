"""One whole change in every way that a device can be spoken to, over sockets.

A unit is disabled, renumbered, relabelled and moved to another address; who listens to it is
pointed at the new number; all is saved, confirmed, enabled and read back. Then it is all taken
back. The same plan and playbook for each make; only how it is spoken to differs, and what its way
can't do is left out: an NMOS node by itself has no label, no setting and no address to write, and
with RESTCONF beside it an address.
"""

import contextlib
import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import yaml

from mocks.faults import Fault, Kind
from mocks.nmos.restconf import NmosRestconf
from mocks.referee import Referee
from mocks.restconf.server import RestconfServer
from mocks.server import serve
from mocks.world import World
from tests.cli.stage import ANSWERS, Stage
from tests.example import FACILITY, ROOT

OLD, NEW, LISTENER = "127.44.3.31", "127.44.3.35", "127.44.3.41"


@dataclass(frozen=True, kw_only=True)
class Make:
    """A make: how the plan speaks to it, its simulation, and what its slots are called.

    ``description`` is its device description; None: it speaks by standards alone, as ``speaks``
    has it. ``slots`` are the two sources and the destination as the device has them, ``sources``
    what the tool calls the two. ``steps`` are all that the change takes. ``batches``: it takes
    both sources' numbers in one request.
    """

    make: str
    model: str
    firmware: str
    slots: tuple[str, str, str]
    sources: tuple[str, str]
    steps: frozenset[str]
    hears: str = "number: 311"
    description: Path | None = None
    speaks: str = ""
    user: str = "engineer"
    batches: bool = False

    @property
    def does(self) -> frozenset[str]:
        """What it can do beside what every make can."""
        return self.steps - STREAMS


DEVICES = FACILITY / "devices"
GROUP, NEW_GROUP = "239.194.1.55:5004", "239.194.1.95:5004"
STREAMS = frozenset({"disable", "renumber", "repoint", "enable"})
MOVES = frozenset({"readdress", "confirm"})
MAKES = [
    Make(
        make="corvid",
        model="CE-40",
        firmware="4.1.2",
        description=DEVICES / "corvid-engine.yaml",
        slots=("program-1", "program-2", "codec-1"),
        sources=("program-1", "program-2"),
        steps=STREAMS | MOVES | {"set"},
    ),
    Make(
        make="tamarisk",
        model="TN-8",
        firmware="2.7.3",
        description=DEVICES / "tamarisk-node.yaml",
        slots=("1", "3", "1"),
        sources=("input-1", "input-3"),
        hears=f'group: "{GROUP}"',
        steps=STREAMS | MOVES | {"set", "save"},
        user="",
    ),
    Make(
        make="marram",
        model="MR-6",
        firmware="1.9.4",
        description=ROOT / "tests" / "devices" / "marram-frame.yaml",
        slots=("1", "3", "2"),
        sources=("out-1", "out-3"),
        steps=STREAMS | MOVES | {"set", "save"},
        batches=True,
    ),
    Make(
        make="nmos",
        model="SN-2",
        firmware="1.0",
        speaks="speaks: nmos, port: 8080",
        slots=("program", "spare", "monitor"),
        sources=("OLD-1", "spare"),
        hears=f'group: "{GROUP}"',
        steps=STREAMS,
        batches=True,
    ),
    Make(
        make="nmos-restconf",
        model="SN-2",
        firmware="1.0",
        speaks="speaks: [nmos, restconf], port: 8080, restconf: {scheme: http, port: 8043}",
        slots=("program", "spare", "monitor"),
        sources=("OLD-1", "spare"),
        hears=f'group: "{GROUP}"',
        steps=STREAMS | MOVES,
        batches=True,
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
    {{room: desk, {speaks}, address: 127.44.3.31, serial: S-1, credentials: units{blocks}}}
  listener:
    {{room: desk, {speaks}, address: 127.44.3.41, serial: S-2, credentials: units}}
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


def playbook_of(make: Make) -> str:
    """What is wanted of the sender: all that its make can do."""
    first, second = make.sources
    label = ", label: NEW-1" if "set" in make.does else ""
    moves = "readdress" in make.does
    device: dict[str, Any] = {"address": NEW} if moves else {}
    text = f"{{number: 351{label}, enabled: true}}"
    device["sources"] = {
        first: yaml.safe_load(text),
        second: {"number": "auto" if moves else 352},
    }
    playbook: dict[str, Any] = {"playbook": "The sender moves house", "devices": {"sender": device}}
    if "set" in make.does:
        device["settings"] = {"ptp_domain": 5}
        accepted = {"hazard": "plant-wide:sender:ptp_domain", "reason": "both are on one desk"}
        playbook["accepts"] = [accepted]
    return yaml.safe_dump(playbook)


def world_of(make: Make) -> World:
    """Two units of the make: one sends, the other listens."""
    user = f"user: {make.user}, " if make.user else ""
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
    (folder / "devices").mkdir(parents=True)
    (folder / "playbooks").mkdir()
    speaks = make.speaks
    if make.description is not None:
        description = make.description.read_text(encoding="utf-8")
        for slow, quick in (("settle_s: 1", "settle_s: 0.2"), ("late_s: 1", "late_s: 0.1")):
            description = description.replace(slow, quick)
        name = yaml.safe_load(description)["device"]
        speaks = f"speaks: {name}"
        (folder / "devices" / f"{name}.yaml").write_text(description, encoding="utf-8")
    # What can't be moved gets its new numbers by owning the other host's too.
    blocks = "" if "readdress" in make.does else ", blocks: [31, 35]"
    plan = PLAN.format(speaks=speaks, blocks=blocks)
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    (folder / "playbooks" / "move.yaml").write_text(playbook_of(make), encoding="utf-8")
    world = world_of(make)
    with serve(world, connect_map=True, map_addresses=[NEW]) as running:
        yield Stage(folder, world, running)


def settings(snapshot: dict[str, Any]) -> dict[str, Any]:
    """A world without what an NMOS node keeps of its activations: when, and what was staged."""
    return {
        name: {
            key: {**held, "kept": {k: v for k, v in held.get("kept", {}).items() if "/" not in k}}
            if isinstance(held, dict)
            else held
            for key, held in device.items()
        }
        for name, device in snapshot.items()
    }


def credentials(make: Make) -> dict[str, str]:
    """What the two units take."""
    user = f"{make.user}:" if make.user else ""
    return {"CUTSHEET_CREDENTIAL_UNITS": f"{user}invented-word"}


@every_make
def test_a_whole_change_and_all_of_it_taken_back(make: Make, tmp_path: Path) -> None:
    """Every step lands and is read back, no safety rule is broken, and the way back is whole."""
    secret = credentials(make)
    with staged(tmp_path / "facility", make) as stage:
        referee = Referee(stage.world)
        before = stage.world.snapshot()
        planned = stage.run("dry-run", "--json", **secret).json
        assert {each["step"] for each in planned["sequence"]} == make.steps
        applied = stage.run("apply", "--yes", *ANSWERS, **secret)
        assert applied.status == 0, applied.said
        sent = [each for each in planned["sequence"] if each["step"] != "confirm"]
        requests = {each["id"] if each["batch"] is None else each["batch"] for each in sent}
        assert (len(requests) < len(sent)) == make.batches
        asked = [one for one in stage.world.log if one.method != "GET" and one.path != "/session"]
        assert len(asked) == len(requests)

        now = stage.now("sender")
        source = now.sources[make.slots[0]]
        assert (source.group, source.enabled) == (NEW_GROUP, True)
        assert source.label == ("NEW-1" if "set" in make.does else "OLD-1")
        there = NEW if "readdress" in make.does else OLD
        assert (now.lan.address, now.lan.gateway) == (there, "127.44.3.254")
        assert now.settings["ptp_domain"] == (5 if "set" in make.does else 0)
        heard = stage.now("listener").destinations[make.slots[2]]
        assert heard.group == NEW_GROUP or heard.number == 351
        assert heard.label == "MON"
        assert stage.world.machine("sender").memory.saved == now
        assert stage.run("dry-run", **secret).status == 0

        referee.new_run()
        undone = stage.run("undo", stage.last(), "--yes", *ANSWERS, **secret)
        assert undone.status == 0, undone.said
        assert settings(stage.world.snapshot()) == settings(before)
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


def test_what_a_way_can_not_do_is_refused_before_the_run_with_the_way_out(tmp_path: Path) -> None:
    """A node that speaks NMOS alone is to move: the dry-run says why not, and what would do it.

    With the way out taken, the same playbook is planned and applied.
    """
    alone, both = MAKES[-2], MAKES[-1]
    with staged(tmp_path / "facility", dataclasses.replace(both, speaks=alone.speaks)) as stage:
        secret = credentials(both)
        refused = stage.run("dry-run", **secret)
        assert refused.status == 1
        assert "sender: the standards offer no way to change a node's own address" in refused.said
        assert "write 'speaks: [nmos, restconf]' for it in plan.yaml, or do it by" in refused.said
        assert stage.run("apply", "--yes", *ANSWERS, **secret).status != 0
        assert stage.writes() == 0
        plan = stage.folder / "plan.yaml"
        text = plan.read_text(encoding="utf-8")
        plan.write_text(text.replace(alone.speaks, both.speaks), encoding="utf-8")
        assert stage.run("apply", "--yes", *ANSWERS, **secret).status == 0
        assert stage.now("sender").lan.address == NEW


def test_a_device_of_two_ways_that_are_two_devices_is_not_written_to(tmp_path: Path) -> None:
    """Its RESTCONF port leads to another unit (a cable, a forwarded port): nothing is written."""
    both = MAKES[-1]
    with staged(tmp_path / "facility", both) as stage:
        machine = stage.world.machine("sender")
        assert isinstance(machine, NmosRestconf)
        machine.restconf = RestconfServer(stage.world.machine("listener"))
        dry = stage.run("dry-run", **credentials(both))
        assert "S-1 (by nmos)" in dry.said
        assert "S-2 (by restconf)" in dry.said
        assert dry.status != 0
        assert stage.writes() == 0


@pytest.mark.parametrize("kind", [Kind.DROP_ANSWER, Kind.REBOOT_AFTER])
def test_a_readdress_by_restconf_whose_outcome_is_not_known_is_settled_by_reading(
    kind: Kind, tmp_path: Path
) -> None:
    """The answer is lost, or the power goes right after: it is looked for, and not sent again."""
    make = MAKES[-1]
    with staged(tmp_path / "facility", make) as stage:
        secret, referee = credentials(make), Referee(stage.world)
        stage.world.add_fault("sender", Fault(kind, method="PUT", seconds=0.3))
        applied = stage.run("apply", "--yes", *ANSWERS, **secret)
        assert applied.status == 0, applied.said
        assert stage.now("sender").lan.address == NEW
        asked = [one for one in stage.world.log if one.method == "PUT"]
        assert len(asked) == 1
        assert referee.verdict().clean, referee.verdict()


def test_another_clients_lock_is_waited_for(tmp_path: Path) -> None:
    """It is let go while the run waits, and the run ends as if nothing had been."""
    make = MAKES[-1]
    with staged(tmp_path / "facility", make) as stage:
        machine = stage.world.machine("sender")
        assert isinstance(machine, NmosRestconf)
        server = machine.restconf
        server.locked_by = "session 7"

        def unlock() -> None:
            server.locked_by = ""

        stage.world.add_fault("sender", Fault(Kind.CALL, method="PUT", nth=2, do=unlock))
        applied = stage.run("apply", "--yes", *ANSWERS, **credentials(make))
        assert applied.status == 0, applied.said
        assert stage.now("sender").lan.address == NEW
