import asyncio
import base64
import dataclasses
import json
import logging
import traceback
from ipaddress import IPv4Network
from typing import Any
from urllib.parse import quote

import httpx
import pytest

from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.open import make_opener
from orchestrator.errors import CallError, DeviceError, NoSecret
from orchestrator.facility.description import Description, Pick, SignIn, WriteRule
from orchestrator.facility.numbering import Numbering, NumberRange
from orchestrator.facility.plan import Network
from orchestrator.facility.secret import Secret
from orchestrator.running.protocols import OpenAdapter, Part
from tests.adapters.makes import DEVICE, PARTY, TAMARISK, a_plan, renumber
from tests.adapters.servers import answering, http, serving

CANARY = "canary-7Zq/hollow+31"
SECRET = Secret("", CANARY)
FORMS = (
    CANARY,
    base64.b64encode(CANARY.encode()).decode(),
    base64.b64encode(f"engineer:{CANARY}".encode()).decode(),
    quote(CANARY, safe=""),
    CANARY.encode().hex(),
)
ONCE = Patience(attempts=1)


def opened(
    answer: Any = None, description: Description = TAMARISK, secret: Secret = SECRET, **more: Any
) -> OpenAdapter:
    """An opener over a network in memory."""
    network = httpx.MockTransport(answer) if answer else None
    return make_opener(
        a_plan(**more),
        {"tamarisk-node": description},
        lambda _: secret,
        {},
        network=network,
        patience=ONCE,
    )


def node(request: httpx.Request) -> httpx.Response:
    """The node, which wants its key."""
    if request.headers.get("x-node-key") != CANARY:
        return httpx.Response(403)
    return httpx.Response(200, content=json.dumps(DEVICE[request.url.path]))


def test_a_device_of_the_plan_is_opened_by_its_description() -> None:
    """Scheme, port, sign-in and the plan's names for slots are joined; nothing is sent yet."""
    seen: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append(str(request.url))
        return node(request)

    async def whole() -> list[str]:
        adapter = opened(answer)("rack-node", PARTY.address)
        assert seen == []
        state = await adapter.read(frozenset({Part.SOURCES}))
        await adapter.close()
        return list(state.sources)

    assert asyncio.run(whole()) == ["mic", "input-2"]
    assert seen == ["http://127.44.3.71:8080/api/info", "http://127.44.3.71:8080/api/tx"]


def test_the_first_description_that_is_there_is_used() -> None:
    """A device may speak by more than one; what nobody describes is passed over."""
    adapter = opened(node, speaks=("unknown", "tamarisk-node"))("rack-node", PARTY.address)
    assert adapter.traits is TAMARISK.traits
    asyncio.run(adapter.close())


@pytest.mark.parametrize(
    ("more", "device", "kind", "words"),
    [
        ({}, "nobody", CallError, "no device nobody"),
        ({"speaks": ()}, "rack-node", CallError, "not spoken to"),
        ({"speaks": ("a", "b")}, "rack-node", CallError, "speaks a or b"),
        ({"credentials": None}, "rack-node", NoSecret, "wants a sign-in .api_key."),
        ({"secret": Secret("user", CANARY)}, "rack-node", NoSecret, "key alone"),
    ],
)
def test_what_can_not_be_opened_is_told(
    more: dict[str, Any], device: str, kind: type[CallError], words: str
) -> None:
    """Each way in which documents don't fit, with a fix."""
    with pytest.raises(kind, match=words) as caught:
        opened(node, **more)(device, PARTY.address)
    assert caught.value.fix


def test_no_secret_is_asked_for_without_sign_in() -> None:
    """A device without sign-in needs no keyring."""
    plain = dataclasses.replace(TAMARISK, sign_in=SignIn.NONE)
    plan, asked = a_plan(), []

    def secrets(name: str) -> Secret:
        asked.append(name)
        return SECRET

    opener = make_opener(plan, {"tamarisk-node": plain}, secrets, {})
    asyncio.run(opener("rack-node", PARTY.address).close())
    assert asked == []


def test_a_secret_is_asked_for_once() -> None:
    """The keyring is slow, and may prompt."""
    asked: list[str] = []

    def secrets(name: str) -> Secret:
        asked.append(name)
        return SECRET

    opener = make_opener(a_plan(), {"tamarisk-node": TAMARISK}, secrets, {})
    for address in ("127.44.3.71", "127.44.3.72"):
        asyncio.run(opener("rack-node", address).close())
    assert asked == ["nodes"]


def test_a_connect_map_that_is_written_wrong_is_told_at_once() -> None:
    """Before any device is opened."""
    with pytest.raises(CallError, match=r"127\.44\.3\.71"):
        make_opener(a_plan(), {}, lambda _: SECRET, {"127.44.3.71": "nowhere"})


def test_the_connect_map_is_used() -> None:
    """The connection goes where the map says, the request says the device's address."""

    async def whole() -> bytes:
        async with serving(answering(http(json.dumps(DEVICE["/api/info"]).encode()))) as server:
            connect = {"127.44.3.71": f"127.0.0.1:{server.port}"}
            opener = make_opener(a_plan(), {"tamarisk-node": TAMARISK}, lambda _: SECRET, connect)
            adapter = opener("rack-node", "127.44.3.71")
            assert (await adapter.identify()).serial == "TM-118"
            await adapter.close()
            return server.heard[0]

    assert b"\r\nHost: 127.44.3.71:8080\r\n" in asyncio.run(whole())


def test_two_adapters_of_one_device_share_its_gate() -> None:
    """A device that is spoken to at an old and a new address still gets one request at a time."""
    now = most = 0

    async def answer(request: httpx.Request) -> httpx.Response:
        nonlocal now, most
        now += 1
        most = max(most, now)
        await asyncio.sleep(0)
        now -= 1
        return node(request)

    async def whole() -> None:
        opener = opened(answer)
        adapters = [opener("rack-node", address) for address in ("127.44.3.71", "127.44.3.72")]
        await asyncio.gather(*(adapter.read() for adapter in adapters * 3))
        for adapter in adapters:
            await adapter.close()

    asyncio.run(whole())
    assert most == 1


def echo(request: bytes, status: str) -> bytes:
    """An answer that repeats everything it was sent, where it can."""
    line = request.replace(b"\r\n", b" ").decode()
    words = f"you sent {line} {' '.join(FORMS)}"
    identity = {"id": {"sn": "TM-118", "type": "TN-8"}, "fw": "2.7"}
    body = json.dumps({"problem": words, **identity, "tx": {"1": {"num": CANARY}}}).encode()
    return http(
        body,
        f"{status} {CANARY}",
        f"X-Echo: {CANARY}",
        f"Set-Cookie: a={CANARY}",
        f"X-Coded: {FORMS[2]}",
    )


@pytest.mark.parametrize(
    ("kind", "user"),
    [
        (SignIn.BASIC, "engineer"),
        (SignIn.DIGEST, "engineer"),
        (SignIn.BEARER, ""),
        (SignIn.API_KEY, ""),
        (SignIn.SESSION, "engineer"),
    ],
)
@pytest.mark.parametrize("status", ["200", "401", "409", "500", "302"])
def test_a_secret_reaches_no_log_error_or_trace(
    kind: SignIn, user: str, status: str, caplog: pytest.LogCaptureFixture
) -> None:
    """Against a device that gives back all that it is sent, with every library at DEBUG."""
    body = {"u": "{user}", "p": "{secret}"}
    session = WriteRule(method="POST", path="/in", body=body)
    description = dataclasses.replace(TAMARISK, sign_in=kind, session=session)
    shown: list[str] = []

    async def talk(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(echo(server_heard[-1], status))
        await writer.drain()

    server_heard: list[bytes] = []

    async def whole() -> None:
        nonlocal server_heard
        async with serving(talk) as server:
            server_heard = server.heard
            opener = make_opener(
                a_plan(),
                {"tamarisk-node": description},
                lambda _: Secret(user, CANARY),
                {PARTY.address: f"127.0.0.1:{server.port}"},
                patience=ONCE,
            )
            adapter = opener("rack-node", PARTY.address)
            for act in (adapter.read(frozenset({Part.SOURCES})), adapter.write(renumber(7, None))):
                try:
                    await act
                except DeviceError as error:
                    shown.append("".join(traceback.format_exception(error)))
                    shown.extend((repr(error), str(error), error.said))
            shown.extend((repr(adapter), str(vars(adapter))))
            await adapter.close()

    with caplog.at_level(logging.DEBUG):
        asyncio.run(whole())
    assert caplog.records
    assert server_heard
    text = "\n".join([*shown, caplog.text, *(repr(vars(record)) for record in caplog.records)])
    assert "rack-node" in text
    assert not [form for form in FORMS if form in text]


def test_a_device_that_knows_groups_alone_is_numbered_by_its_network() -> None:
    """By the rule of where it stands; on a bench, by that of where the plan has it."""
    numbering = Numbering(
        numbers=NumberRange(1, 2999),
        numbers_per_host=10,
        first_in_block=1,
        group_range=IPv4Network("239.194.0.0/16"),
        port=5004,
    )
    media = Network(name="media", subnet=IPv4Network("127.44.3.0/24"), numbering=numbering)
    bench = Network(name="bench", subnet=IPv4Network("127.0.2.0/24"), bench=True)
    plan = dataclasses.replace(a_plan(), networks={"media": media, "bench": bench})
    sources = dataclasses.replace(
        TAMARISK.reads["sources"],
        fields={"group": Pick(at="/dest", unassigned="", has_unassigned=True)},
    )
    reads = {**TAMARISK.reads, "sources": sources}
    description = dataclasses.replace(TAMARISK, reads=reads)
    network = httpx.MockTransport(node)
    opener = make_opener(
        plan, {"tamarisk-node": description}, lambda _: SECRET, {}, network=network, patience=ONCE
    )

    async def numbers(address: str) -> list[int | None]:
        adapter = opener("rack-node", address)
        state = await adapter.read(frozenset({Part.SOURCES}))
        await adapter.close()
        return [source.number for source in state.sources.values()]

    for address in (PARTY.address, "127.0.2.60"):
        assert asyncio.run(numbers(address)) == [421, None]


def test_a_device_may_speak_two_ways_at_once() -> None:
    """Each part by its own way, each at its own port, both asked who it is."""
    seen: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append(f"{request.url.port}{request.url.path}")
        return httpx.Response(200, content=json.dumps(DEVICE[request.url.path]))

    streams = dataclasses.replace(
        TAMARISK,
        sign_in=SignIn.NONE,
        reads={part: TAMARISK.reads[part] for part in ("identity", "sources", "destinations")},
        settings={},
    )
    lan = dataclasses.replace(
        TAMARISK,
        sign_in=SignIn.NONE,
        port=8090,
        reads={part: TAMARISK.reads[part] for part in ("identity", "interfaces")},
        settings={},
    )
    opener = make_opener(
        a_plan(speaks=("streams", "lan")),
        {"streams": streams, "lan": lan},
        lambda _: SECRET,
        {},
        network=httpx.MockTransport(answer),
        patience=ONCE,
    )

    async def whole() -> tuple[list[str], list[str]]:
        adapter = opener("rack-node", PARTY.address)
        state = await adapter.read()
        await adapter.close()
        return list(state.sources), list(state.interfaces)

    assert asyncio.run(whole()) == (["mic", "input-2"], ["main"])
    assert seen == [
        *("8080/api/info", "8080/api/tx", "8080/api/rx"),
        *("8090/api/info", "8090/api/ports"),
    ]
