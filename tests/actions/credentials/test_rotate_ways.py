"""A secret changed on devices that no single device description changes it on, over sockets."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from mocks.messages import Request, Response
from mocks.restconf.server import RestconfServer
from mocks.server import serve
from mocks.world import World
from orchestrator.credentials import Credentials
from orchestrator.facility.secret import Secret
from tests.cli.stage import Ended, Stage, cutsheet
from tests.example import FACILITY
from tests.keyrings import InFile, in_file

OLD, NEW = "invented-word-one", "canary-word-two"
PORT = 8043
PLAN = """
facility: Tern Point Radio
networks:
  media:
    subnet: 127.44.3.0/24
    numbering: {range: 1-2999, group_range: 239.194.0.0/16}
rooms: {rack: {site: point, network: media}}
devices:
  host: {room: rack, speaks: restconf, restconf: {scheme: http, port: 8080}, address: 127.44.3.41,
    serial: S-2, credentials: units}
  engine: {room: rack, speaks: [restconf, corvid-engine], address: 127.44.3.31, serial: S-1,
    restconf: {scheme: http, port: 8043}, credentials: units}
"""
WORLD = f"""
port: 8080
networks: {{media: {{subnet: 127.44.3.0/24}}}}
devices:
  engine: {{make: corvid, model: CE-40, serial: S-1, firmware: 4.1.2, address: 127.44.3.31,
    prefix: 24, settle_s: 0.2, sign_in: {{user: engineer, secret: {OLD}}},
    sources: {{program-1: {{number: 311, enabled: true}}}}}}
  host: {{make: restconf, model: SH-1, serial: S-2, firmware: "1.0", address: 127.44.3.41,
    prefix: 24, settle_s: 0.2, sign_in: {{user: engineer, secret: {OLD}}}}}
"""


@pytest.fixture
def ring(tmp_path: Path) -> Iterator[InFile]:
    """A keyring that holds the one secret."""
    with in_file(tmp_path / "ring.json") as kept:
        Credentials({}).add("units", Secret("engineer", OLD))
        yield kept


@pytest.fixture
def stage(tmp_path: Path, ring: InFile, monkeypatch: pytest.MonkeyPatch) -> Iterator[Stage]:
    """An engine that is spoken to in two ways, and a host by RESTCONF alone."""
    del ring
    folder = tmp_path / "facility"
    (folder / "devices").mkdir(parents=True)
    text = (FACILITY / "devices" / "corvid-engine.yaml").read_text(encoding="utf-8")
    (folder / "devices" / "corvid-engine.yaml").write_text(text, encoding="utf-8")
    (folder / "plan.yaml").write_text(PLAN, encoding="utf-8")
    world = World.from_text(WORLD)
    engine = world.machine("engine")
    server, plain = RestconfServer(engine), engine.handle

    def handle(request: Request) -> Response:
        beside = request.headers.get("host", "").endswith(f":{PORT}")
        return server.handle(request) if beside else plain(request)

    monkeypatch.setattr(engine, "more_ports", (PORT,), raising=False)
    monkeypatch.setattr(engine, "handle", handle)
    for name in world.names:
        world.machine(name).access.locks_after = 3
    with serve(world, connect_map=True) as running:
        yield Stage(folder, world, running)
        assert not any(world.machine(name).access.locked for name in world.names)


def change(stage: Stage, *more: str) -> Ended:
    """``credential rotate``."""
    ways = ("--connect-file", str(stage.map), "--facility", str(stage.folder))
    ring = {"CUTSHEET_CREDENTIALS": "keyring"}
    return cutsheet(
        "credential", "rotate", "units", "--yes", *more, *ways, typed=f"{NEW}\n", **ring
    )


def held() -> tuple[str, bool]:
    """What the keyring has, and whether a change is under way."""
    kept = Credentials({})
    return kept.current("units").reveal(), kept.pending("units") is not None


def word(stage: Stage, name: str) -> str:
    """What a device takes."""
    return stage.world.machine(name).access.word


def test_one_way_takes_it_for_all_ways_that_share_it(stage: Stage) -> None:
    """The described way changes it; the device is signed in to by both with the new one."""
    ended = change(stage, "--without", "host")
    assert ended.status == 0, ended.said
    assert word(stage, "engine") == NEW
    assert held() == (NEW, False)
    beside = [one for one in stage.world.log if "ietf-" in one.path]
    assert beside[-1].outcome == "200", "by RESTCONF, too"


def test_a_device_that_nothing_here_can_tell_is_named_and_done_by_hand(stage: Stage) -> None:
    """What is to be done stands in the run; a go without the deed is found out; then it goes on."""
    asked = change(stage)
    assert asked.status == 1, asked.said
    assert "By hand: host: set the new secret at the device itself" in asked.said
    assert (word(stage, "engine"), word(stage, "host")) == (NEW, OLD)
    assert held() == (OLD, True)
    said_too_soon = change(stage, "--accept", "by-hand:2=somebody did it")
    assert said_too_soon.status == 1, said_too_soon.said
    assert "it takes the old one still" in said_too_soon.said
    stage.world.machine("host").access.word = NEW
    ended = change(stage)
    assert ended.status == 0, ended.said
    assert held() == (NEW, False)


def test_it_is_taken_back_by_hand_as_well(stage: Stage) -> None:
    """Only what was reached: the engine by the tool, the host by whoever had set it."""
    change(stage)
    stage.world.machine("host").access.word = NEW
    ring: dict[str, Any] = {"CUTSHEET_CREDENTIALS": "keyring"}
    undone = stage.run("undo", stage.last(), "--yes", **ring)
    assert undone.status == 1, undone.said
    assert "set the old secret again at the device itself" in undone.said
    assert word(stage, "engine") == OLD
    stage.world.machine("host").access.word = OLD
    ended = stage.run("resume", stage.last(), "--accept", "by-hand:2=done", **ring)
    assert ended.status == 0, ended.said
    assert held() == (OLD, False)
