import asyncio
import json
from typing import Any

import httpx
import pytest

from orchestrator.adapters.declared.dialect import Declared
from orchestrator.adapters.http.rest_device import RestDevice
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.http.transport import Transport
from orchestrator.errors import OutcomeUnknown, Rejected, Unreachable
from orchestrator.facility.step import StepKind
from orchestrator.running.protocols import DeviceAdapter, Part
from tests.adapters.makes import DEVICE, GROUP, PARTY, TAMARISK, a_step, renumber

BASE = "http://127.44.3.71:8080"


class Node:
    """A node in memory that counts, and fails as it is told."""

    def __init__(self, *failures: Exception | int) -> None:
        self.failures = list(failures)
        self.asked: list[str] = []
        self.now = self.most = 0

    async def answer(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(f"{request.method} {request.url.path}")
        self.now += 1
        self.most = max(self.most, self.now)
        await asyncio.sleep(0)
        self.now -= 1
        failure = self.failures.pop(0) if self.failures else None
        if isinstance(failure, Exception):
            raise failure
        if failure is not None:
            return httpx.Response(failure)
        body = DEVICE[request.url.path] if request.method == "GET" else {}
        return httpx.Response(200, content=json.dumps(body))

    def device(self, **more: Any) -> RestDevice:
        async def at_once(_seconds: float) -> None:
            await asyncio.sleep(0)

        network = httpx.MockTransport(self.answer)
        transport = Transport(PARTY, BASE, timeout_s=5.0, network=network)
        more.setdefault("patience", Patience(sleep=at_once))
        return RestDevice(Declared(TAMARISK, PARTY), transport, **more)


def test_it_is_a_device_adapter() -> None:
    """The protocol is fulfilled (the type checker holds it): identify, read, write, close."""
    node = Node()

    async def whole() -> None:
        adapter: DeviceAdapter = node.device()
        assert (await adapter.identify()).serial == "TM-118"
        assert (await adapter.read(frozenset({Part.SOURCES}))).sources["input-1"].number == 421
        await adapter.write(renumber(77, GROUP))
        await adapter.close()
        assert adapter.traits is TAMARISK.traits

    asyncio.run(whole())
    assert node.asked == ["GET /api/info", "GET /api/info", "GET /api/tx", "PUT /api/tx/1"]


def test_reads_are_repeated_and_writes_are_not() -> None:
    """A lost answer to a read is asked for again; to a write, nobody knows."""
    node = Node(httpx.ReadError("x"), 503)

    async def whole() -> None:
        device = node.device()
        await device.read(frozenset({Part.SOURCES}))
        node.failures = [httpx.ReadError("x")]
        node.asked.clear()
        with pytest.raises(OutcomeUnknown):
            await device.write(renumber(77, GROUP))
        await device.close()

    asyncio.run(whole())
    assert node.asked == ["PUT /api/tx/1"]


def test_a_failed_look_before_a_write_is_no_doubt() -> None:
    """If the key could not be read, surely nothing was written."""
    node = Node(*[httpx.ConnectError("x")] * 9)

    async def whole() -> None:
        device = node.device()
        with pytest.raises(Unreachable):
            await device.write(renumber(77, GROUP))
        await device.close()

    asyncio.run(whole())
    assert set(node.asked) == {"GET /api/tx"}


def test_a_step_without_rule_sends_nothing() -> None:
    """A talk that ends before its first request is no trouble."""
    node = Node()

    async def whole() -> None:
        device = node.device()
        with pytest.raises(Rejected):
            await device.write(a_step(StepKind.CONFIRM))
        await device.close()

    asyncio.run(whole())
    assert node.asked == []


def test_one_request_at_a_time() -> None:
    """However many ask, the device gets one after the other."""
    node = Node()

    async def whole() -> None:
        device = node.device()
        await asyncio.gather(*(device.read() for _ in range(5)))
        await device.close()

    asyncio.run(whole())
    assert node.most == 1
    assert len(node.asked) == 30


def test_more_at_once_where_the_traits_say_so() -> None:
    """The gate is as wide as it is made."""
    node = Node()

    async def whole() -> None:
        wide = asyncio.Semaphore(3)
        device = node.device(gate=lambda: wide)
        await asyncio.gather(*(device.identify() for _ in range(9)))
        await device.close()

    asyncio.run(whole())
    assert node.most == 3


def test_the_response_time_is_the_median_of_answered_requests() -> None:
    """Failures are no response; one slow answer does not make a slow device."""
    times = iter([0.0, 1.0, 10.0, 20.0, 20.5, 30.0, 30.1])
    node = Node(httpx.ConnectError("x"))

    async def whole() -> list[float]:
        device = node.device(now=lambda: next(times))
        found = [device.response_s]
        for _ in range(3):
            await device.identify()
            found.append(device.response_s)
        await device.close()
        return found

    # The clock is read twice for an answer, once for a failure (at 0.0).
    assert asyncio.run(whole()) == pytest.approx([0.0, 9.0, 4.75, 0.5])
