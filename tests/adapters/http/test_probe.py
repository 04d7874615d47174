import asyncio
import errno
import socket
from collections.abc import Mapping
from dataclasses import replace

import pytest

from orchestrator.adapters.http.probe import make_probe
from orchestrator.errors import CallError
from tests.adapters.makes import TAMARISK, a_plan
from tests.adapters.servers import answering, http, serving

CONNECT = "orchestrator.adapters.http.probe.asyncio.open_connection"


def looked(address: str, connect: Mapping[str, str], device: str = "rack-node") -> str | None:
    """What a probe says."""
    probe = make_probe(a_plan(), {"tamarisk-node": TAMARISK}, connect, timeout_s=0.3)
    return asyncio.run(probe(device, address))


def test_whoever_takes_a_connection_answers() -> None:
    """A plain connection is enough, and nothing is said over it."""

    async def whole() -> tuple[str | None, list[bytes]]:
        async with serving(answering(http())) as server:
            connect = {"127.44.3.71": f"localhost:{server.port}"}
            probe = make_probe(a_plan(), {"tamarisk-node": TAMARISK}, connect)
            words = await probe("rack-node", "127.44.3.71")
            return words, server.heard

    words, heard = asyncio.run(whole())
    assert words is not None
    assert words.startswith("something takes connections on port ")
    assert heard == []


def test_this_computers_own_refusal_is_nobody() -> None:
    """Inside 127.0.0.0/8 a refusal says nothing of whoever should be there."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
        assert looked("127.44.3.71", {"127.44.3.71": f"127.0.0.1:{port}"}) is None
        assert looked("127.44.3.71", {"127.44.3.71": f"localhost:{port}"}) is None


@pytest.fixture
def dialled(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, int]]:
    """Connections that are refused by hand; gives where they went."""
    seen: list[tuple[str, int]] = []

    async def refused(host: str, port: int) -> None:
        await asyncio.sleep(0)
        seen.append((host, port))
        raise ConnectionRefusedError(errno.ECONNREFUSED, "Connection refused")

    monkeypatch.setattr(CONNECT, refused)
    return seen


def test_a_refusal_on_a_real_network_is_an_answer(dialled: list[tuple[str, int]]) -> None:
    """Somebody has to be there to refuse; 192.0.2.0/24 is for examples (RFC 5737)."""
    assert looked("192.0.2.50", {}) == "something refuses connections on port 8080"
    assert dialled == [("192.0.2.50", 8080)]


def test_an_address_that_the_map_does_not_name_is_dialled_as_it_is(
    dialled: list[tuple[str, int]],
) -> None:
    """At the port of the device's description, or of the web where there is none."""
    connect = {"127.44.3.31": "localhost:9031"}
    looked("127.44.3.71", connect)
    looked("127.44.3.72", connect, device="not-in-the-plan")
    assert dialled == [("127.44.3.71", 8080), ("127.44.3.72", 80)]


@pytest.mark.parametrize(("planned", "port"), [(None, 80), (8088, 8088)])
def test_a_device_without_a_description_is_dialled_at_the_plans_port(
    planned: int | None, port: int, dialled: list[tuple[str, int]]
) -> None:
    """The web's, unless the plan gives another."""
    plan = a_plan(("nmos",))
    device = replace(plan.devices["rack-node"], port=planned)
    probe = make_probe(replace(plan, devices={"rack-node": device}), {}, {})
    asyncio.run(probe("rack-node", "127.44.3.71"))
    assert dialled == [("127.44.3.71", port)]


def test_a_device_that_speaks_several_ways_is_dialled_at_the_port_of_each(
    dialled: list[tuple[str, int]],
) -> None:
    """One closed port says nothing of the others."""
    probe = make_probe(a_plan(("nmos", "tamarisk-node")), {"tamarisk-node": TAMARISK}, {})
    assert asyncio.run(probe("rack-node", "127.44.3.71")) is None
    assert dialled == [("127.44.3.71", 80), ("127.44.3.71", 8080)]


@pytest.mark.parametrize(
    ("number", "answers"),
    [
        (errno.ETIMEDOUT, False),
        (errno.EHOSTUNREACH, False),
        (errno.ENETUNREACH, False),
        (errno.EHOSTDOWN, False),
        (errno.ECONNRESET, True),
        (errno.EACCES, True),
        (errno.EMFILE, True),
    ],
)
def test_only_silence_says_that_nobody_is_there(
    number: int, answers: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What could not be looked at is not vacant."""

    async def failing(_host: str, _port: int) -> None:
        await asyncio.sleep(0)
        raise OSError(number, "words")

    monkeypatch.setattr(CONNECT, failing)
    assert (looked("192.0.2.50", {}) is not None) is answers


def test_a_name_that_leads_nowhere_says_nothing_of_the_address(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A mistake in the connect map is not a vacant address."""

    async def unknown(_target: object) -> list[str]:
        await asyncio.sleep(0)
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr("orchestrator.adapters.http.probe._hosts", unknown)
    words = looked("127.44.3.71", {"127.44.3.71": "nobody.invalid:80"})
    assert words == "it could not be looked at (Name or service not known)"


def test_silence_ends_at_the_deadline(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits for the system's own two minutes."""

    async def silent(_host: str, _port: int) -> None:
        await asyncio.sleep(60)

    monkeypatch.setattr(CONNECT, silent)
    assert looked("192.0.2.50", {}) is None


def test_a_map_that_is_written_wrong_is_told_at_once() -> None:
    """Before anything is dialled."""
    with pytest.raises(CallError):
        make_probe(a_plan(), {}, {"127.44.3.71": "x"})
