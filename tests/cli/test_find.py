"""Finding NMOS nodes: by a registry, and by what announces itself on the loopback interface."""

import asyncio
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import yaml

from mocks.clock import HandClock
from mocks.server import serve
from mocks.world import World
from orchestrator.adapters.nmos.dns_sd import QUERY
from orchestrator.facility.discovered import Service
from tests.adapters.announcing import LOOPBACK, announced, needs_multicast
from tests.cli.stage import Ended, cutsheet

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
  rack-node: {room: rack, speaks: nmos, address: 127.44.3.41, serial: SW-7}
  quiet-node: {room: rack, speaks: nmos, address: 127.44.3.43, serial: SW-3}
"""
WORLD = """
networks: {media: {subnet: 127.44.3.0/24}}
devices:
  registry: {make: nmos-registry, model: RG-1, serial: RG-1, firmware: "1.0",
    address: 127.44.3.90, prefix: 24}
  rack-node: {make: nmos, model: SN-2, serial: SW-7, firmware: "1.0",
    address: 127.44.3.41, prefix: 24, sources: {program: {label: PGM}}}
  new: {make: nmos, model: SN-2, serial: SW-9, firmware: "1.0",
    address: 127.44.3.44, prefix: 24, destinations: {monitor: {}}}
"""


@contextmanager
def there(folder: Path, plan: str = PLAN) -> Iterator[list[str]]:
    """A plan, simulated nodes and their registry; the options that lead to them."""
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    (folder / "playbooks").mkdir()
    world = World.from_text(WORLD, HandClock())
    with serve(world, connect_map=True) as running:
        ways = folder / "connect.yaml"
        ways.write_text(yaml.safe_dump(dict(running.connect_map)), encoding="utf-8")
        yield ["--facility", str(folder), "--connect-file", str(ways)]
    assert sum(map(world.writes, world.names)) == 0


def test_by_a_registry(tmp_path: Path) -> None:
    """What is not as planned first, then every node with who it is, where, and in the plan as."""
    with there(tmp_path) as options:
        found = cutsheet("find", "--registry", "http://127.44.3.90:8080", *options)
    assert found.status == 1
    assert "2 node(s) were heard of" in found.said
    assert "SN-2 serial SW-9 at 127.44.3.44 is not in the plan" in found.said
    assert "quiet-node in the plan, and nobody spoke of it" in found.said
    assert "SW-7 SN-2 127.44.3.41 rack-node" in found.said


def test_all_as_planned(tmp_path: Path) -> None:
    """Nothing to find is exit status 0; as JSON too."""
    plan = PLAN.replace("quiet-node:", "new:").replace("127.44.3.43, serial: SW-3",
                                                       "127.44.3.44, serial: SW-9")  # fmt: skip
    with there(tmp_path, plan) as options:
        found = cutsheet("find", "--registry", "http://127.44.3.90:8080", "--json", *options)
    assert found.status == 0, found.err
    assert found.json["schema"] == "cutsheet/find/1"
    assert {one["place"] for one in found.json["nodes"]} == {"as planned"}


@pytest.mark.parametrize(
    ("url", "status", "said"),
    [
        ("http://127.44.3.41:8080", 4, "the registry at 127.44.3.41"),
        ("127.44.3.90", 2, "no URL of a registry"),
    ],
)
def test_what_is_no_registry(tmp_path: Path, url: str, status: int, said: str) -> None:
    """It is said in words, without a traceback."""
    with there(tmp_path) as options:
        found = cutsheet("find", "--registry", url, *options)
    assert (found.status, said in found.said) == (status, True), found.said
    assert "Traceback" not in found.said


@needs_multicast
def test_by_announcement(tmp_path: Path) -> None:
    """A registry that announces itself at the loopback interface is asked by itself."""
    query = Service(
        kind=QUERY,
        name=f"cutsheet-test-find-{_free_port()}",
        addresses=("127.44.3.90",),
        port=8080,
        text={"api_ver": "v1.3", "api_proto": "http", "pri": "0", "api_auth": "false"},
    )

    async def announcing(options: list[str]) -> Ended:
        async with announced(query):
            listening = ("--seconds", "1.5", "--interface", LOOPBACK)
            return await asyncio.to_thread(cutsheet, "find", *listening, *options)

    with there(tmp_path) as options:
        found = asyncio.run(announcing(options))
    assert "SW-7 SN-2 127.44.3.41 rack-node" in found.said
    assert query.name in found.said.replace(" ", "")
    assert found.status == 1


def _free_port() -> int:
    with socket.socket() as one:
        one.bind((LOOPBACK, 0))
        port: int = one.getsockname()[1]
        return port
