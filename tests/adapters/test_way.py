import asyncio
from asyncio import Semaphore
from dataclasses import replace
from functools import partial
from typing import Any

import httpx
import pytest

from orchestrator.adapters.declared.dialect import Declared
from orchestrator.adapters.http.transport import Transport
from orchestrator.adapters.way import Opening
from orchestrator.errors import CallError, NoSecret
from orchestrator.facility.secret import Secret
from orchestrator.running.protocols import DeviceAdapter
from tests.adapters.makes import DEVICE, PARTY, TAMARISK, a_plan

SECRET = Secret("", "invented-three-wet-oars")


def nobody(device: str, address: str) -> DeviceAdapter:
    """No other device is opened here."""
    raise CallError(f"{device} at {address} is not to be opened", "")


def opening(**more: Any) -> Opening:
    """The node, about to be opened."""
    seen: list[str] = more.pop("seen", [])

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append(str(request.url))
        return httpx.Response(200, json=DEVICE["/api/info"])

    gate = Semaphore(1)
    plan = a_plan(**more)
    return Opening(
        plan=plan,
        device=plan.devices["rack-node"],
        party=replace(PARTY, address="127.44.3.99"),
        make_transport=partial(Transport, PARTY, network=httpx.MockTransport(answer)),
        secrets={"nodes": SECRET}.__getitem__,
        gate=lambda: gate,
        open_other=nobody,
    )


def test_the_way_leads_to_the_address_that_is_opened() -> None:
    """Which need not be the planned one; the port is the way's own."""
    seen: list[str] = []

    async def whole() -> str:
        to = opening(seen=seen)
        adapter = to.join(Declared(TAMARISK, to.party), to.transport("http", 8080, timeout_s=1.0))
        serial = (await adapter.identify()).serial
        await adapter.close()
        return serial

    assert asyncio.run(whole()) == "TM-118"
    assert seen == ["http://127.44.3.99:8080/api/info"]


def test_the_secret_is_the_one_that_the_plan_names() -> None:
    """Where it names none, the words say what the device wants, and the fix."""
    assert opening().secret("basic") is SECRET
    with pytest.raises(NoSecret, match=r"wants a sign-in \(basic\)") as caught:
        opening(credentials=None).secret("basic")
    assert "credential add" in caught.value.fix
