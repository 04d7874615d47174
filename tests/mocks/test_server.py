"""The simulated world on real sockets, met with a plain HTTP client."""

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest

from mocks.doors import CannotListen
from mocks.faults import Fault, Kind
from mocks.referee import Referee
from mocks.server import Running, serve
from mocks.world import World

Signed = Callable[[World, str], dict[str, Any]]


def until(true: Callable[[], bool]) -> None:
    """Wait until something is true, at most five seconds."""
    end = time.monotonic() + 5
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


def refused(url: str) -> bool:
    """Whether a connection is refused at once; one that is dropped just then is not yet."""
    try:
        httpx.get(url, timeout=2)
    except httpx.ConnectError:
        return True
    except httpx.TransportError:
        return False
    return False


@pytest.fixture
def real(world_text: str) -> World:
    """The small world on the real clock."""
    return World.from_text(world_text)


def test_every_device_at_its_own_address(real: World, signed: Signed, net: str) -> None:
    """Each device answers at its own address and the common port, by its own sign-in."""
    with serve(real) as running:
        assert running.where("north") == (f"{net}.31", running.port)
        assert httpx.get(running.url("north", "/unit")).status_code == 401
        with httpx.Client(**signed(real, "north")) as client:
            assert client.get(running.url("north", "/unit")).json()["serial"] == "CV-1"
        with httpx.Client(**signed(real, "node")) as client:
            assert client.get(running.url("node", "/api/info")).json()["id"]["sn"] == "TM-1"
        assert refused(f"http://{net}.99:{running.port}/unit")
    assert refused(f"http://{net}.31:{running.port}/unit")


@pytest.mark.parametrize("connect_map", [False, True])
def test_readdress(real: World, signed: Signed, net: str, *, connect_map: bool) -> None:
    """After settling the old address refuses, its open connections break, the new one answers."""
    with (
        serve(real, connect_map=connect_map) as running,
        httpx.Client(**signed(real, "north")) as client,
    ):
        old = running.url("north", "/lan")
        body = {"ip": f"{net}.33", "prefix": 25, "router": None}
        assert client.put(old, json=body).status_code == 202
        assert client.get(old).json()["lan"]["ip"] == f"{net}.31"
        until(lambda: real.device("north").address == f"{net}.33")
        running.settle()
        with pytest.raises(httpx.TransportError):
            client.get(old)
        assert refused(old)
        assert client.get(running.url("north", "/lan")).json()["lan"]["ip"] == f"{net}.33"


def test_settles_by_itself(real: World, signed: Signed, net: str) -> None:
    """Nobody needs to ask the world anything for a move to take place."""
    with serve(real) as running, httpx.Client(**signed(real, "north")) as client:
        body = {"ip": f"{net}.33", "prefix": 25, "router": None}
        client.put(running.url("north", "/lan"), json=body)
        until(lambda: refused(f"http://{net}.31:{running.port}/lan"))
        until(lambda: not refused(f"http://{net}.33:{running.port}/lan"))


def test_connect_map_is_right_before_and_after(real: World, signed: Signed, net: str) -> None:
    """A port belongs to an address: looked up before the move, it answers after it."""
    with serve(real, connect_map=True, map_addresses=[f"{net}.40"]) as running:
        assert running.connect_map[f"{net}.31"].startswith("127.0.0.1:")
        assert f"{net}.40" in dict(running.connect_map)
        ahead = f"http://{running.connect_map[f'{net}.33']}/lan"
        assert refused(ahead)
        real.device("north").set_address(f"{net}.33")
        running.settle()
        assert httpx.get(ahead, **signed(real, "north")).json()["lan"]["ip"] == f"{net}.33"
        assert running.port == real.port
    with serve(real) as running, pytest.raises(TypeError, match="no connect map"):
        _ = running.connect_map


def test_first_come_keeps_answering(real: World, signed: Signed, net: str) -> None:
    """Of two devices at one address the first answers; the referee sees both."""
    referee = Referee(real)
    with serve(real) as running, httpx.Client(**signed(real, "north")) as client:
        url = running.url("north", "/unit")
        body = {"ip": f"{net}.31", "prefix": 25, "router": None}
        httpx.put(running.url("south", "/lan"), json=body, **signed(real, "south"))
        until(lambda: real.device("south").address == f"{net}.31")
        running.settle()
        assert client.get(url).json()["serial"] == "CV-1"
        assert "H2" in referee.verdict().rules()
        real.pull_cable("north")
        running.settle()
        assert httpx.get(url, **signed(real, "south")).json()["serial"] == "CV-2"


def test_cable_and_power(real: World, signed: Signed) -> None:
    """Without a cable, and while it boots, a device refuses; then it answers again."""
    with serve(real) as running, httpx.Client(**signed(real, "node")) as client:
        url = running.url("node", "/api/tx")
        real.pull_cable("node")
        running.settle()
        assert refused(url)
        real.plug_in("node")
        running.settle()
        client.put(running.url("node", "/api/tx/1"), json={"state": "off"}).raise_for_status()
        real.reboot("node", away_s=1.5)
        running.settle()
        assert refused(url)
        until(lambda: not refused(url))
        assert client.get(url).json()["tx"]["1"]["state"] == "on"


@pytest.mark.parametrize(
    ("fault", "error", "label"),
    [
        (Fault(Kind.DROP_REQUEST), httpx.TransportError, "N-1"),
        (Fault(Kind.DROP_ANSWER), httpx.TransportError, "New"),
        (Fault(Kind.HALF_BODY), httpx.RemoteProtocolError, "New"),
        (Fault(Kind.REFUSE), httpx.TransportError, "N-1"),
        (Fault(Kind.REBOOT_AFTER, seconds=0.05), httpx.TransportError, "New"),
        (Fault(Kind.REBOOT_BEFORE, seconds=0.05), httpx.TransportError, "N-1"),
        (Fault(Kind.DELAY, seconds=0.3), httpx.ReadTimeout, "New"),
    ],
)
def test_faults_on_the_wire(
    real: World, signed: Signed, fault: Fault, error: type[Exception], label: str
) -> None:
    """Lost requests have no effect, lost answers have; a request the client gave up on lands."""
    timeout = 0.1 if fault.kind is Kind.DELAY else 5
    with serve(real) as running, httpx.Client(**signed(real, "north"), timeout=timeout) as client:
        url = running.url("north", "/streams/program-1")
        real.add_fault("north", fault)
        with pytest.raises(error):
            client.patch(url, json={"title": "New"})
        until(lambda: real.requests("north") == 1)
        assert real.device("north").source("program-1").label == label


def test_refuse_for_good_shuts_at_once(real: World) -> None:
    """A device that refuses everything has no listening socket."""
    with serve(real) as running:
        url = running.url("north", "/unit")
        real.add_fault("north", Fault(Kind.REFUSE, always=True))
        running.settle()
        assert refused(url)
        real.clear_faults("north")
        running.settle()
        assert not refused(url)


def test_trickle_and_busy(real: World, signed: Signed) -> None:
    """A slow body arrives whole; a busy device says for how long."""
    with serve(real) as running, httpx.Client(**signed(real, "north")) as client:
        real.add_fault("north", Fault(Kind.TRICKLE, seconds=0.1))
        real.add_fault("north", Fault(Kind.BUSY, nth=2, retry_after="1"))
        response = client.get(running.url("north", "/unit"))
        assert response.json()["serial"] == "CV-1"
        assert response.elapsed.total_seconds() >= 0.05
        assert client.get(running.url("north", "/unit")).headers["retry-after"] == "1"


def test_an_address_in_use(real: World, world_text: str, net: str) -> None:
    """What can't be listened at is said at the start, by device, address and fix."""
    with serve(real) as running:
        other = World.from_text(world_text.replace("port: 0", f"port: {running.port}"))
        with pytest.raises(CannotListen, match=rf"north: .*{net}\.31.*and 5 other"), serve(other):
            pass


def test_no_thread_is_left(real: World) -> None:
    """When the block ends the thread has ended, open connections or not."""
    with httpx.Client() as client:
        with serve(real) as running:
            client.get(running.url("north", "/unit"))
        assert not [one for one in threading.enumerate() if one.name == "mocks"]


def test_tells_nothing_after_the_end(real: World, tmp_path: Path) -> None:
    """A world outlives its serving, and can be served again."""
    assert tmp_path.exists()
    with serve(real) as first:
        pass
    assert isinstance(first, Running)
    real.pull_cable("north")
    with serve(real) as running:
        assert refused(running.url("north", "/unit"))
        assert httpx.get(running.url("south", "/unit")).status_code == 401
