import asyncio
import json
from dataclasses import replace
from typing import Any

import pytest

from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.open import make_doors
from orchestrator.adapters.rotating import Door
from orchestrator.errors import CallError, DeviceError, NoSecret, OutcomeUnknown, Rejected
from orchestrator.facility.description import ChangeSecret, SignIn, WriteRule
from orchestrator.facility.secret import Secret
from orchestrator.running.protocols import Part
from tests.adapters.makes import DEVICE, PARTY, TAMARISK, a_plan
from tests.adapters.servers import Talk, answering, http, serving

OLD, NEW = Secret("", "old-canary-word"), Secret("", "new-canary-word")
CHANGE = ChangeSecret(
    rule=WriteRule(method="PUT", path="/key", body={"was": "{secret}", "will": "{new_secret}"}),
    proof="/api/info",
)
KEYED = replace(TAMARISK, change_secret=CHANGE)


def door_of(port: int, **changes: Any) -> Door | None:
    """The door of the node that answers at a port of this computer."""
    doors = make_doors(
        a_plan(),
        {"tamarisk-node": replace(KEYED, **changes)},
        {PARTY.address: f"127.0.0.1:{port}"},
        patience=Patience(attempts=1),
    )
    return doors("rack-node", PARTY.address, (OLD, NEW))


def spoken(talk: Talk, act: Any, **changes: Any) -> tuple[Any, list[bytes]]:
    """Do ``act`` with the door: what came of it, and what the device got."""

    async def whole() -> tuple[Any, list[bytes]]:
        async with serving(talk) as server:
            door = door_of(server.port, **changes)
            assert door is not None
            try:
                return await act(door), server.heard
            except DeviceError as error:
                return error, server.heard
            finally:
                await door.close()

    return asyncio.run(whole())


@pytest.mark.parametrize("status", ["401 X", "403 X"])
def test_a_sign_in_is_tried_once(status: str) -> None:
    """At the path that proves it, and not again where it is refused."""
    refused, heard = spoken(answering(http(b"{}", status)), lambda door: door.takes(NEW))
    assert refused is False
    assert len(heard) == 1
    assert b"GET /api/info " in heard[0]
    assert b"new-canary-word" in heard[0]
    assert spoken(answering(http()), lambda door: door.takes(NEW))[0] is True


def test_without_a_secret_no_sign_in_is_sent() -> None:
    """To see whether the path tells anybody who asks."""
    _, heard = spoken(answering(http(b"{}", "401 X")), lambda door: door.takes(None))
    assert b"canary" not in heard[0]
    assert b"x-node-key" not in heard[0].lower()


def test_the_change_is_sent_once_and_signed_with_the_old_one() -> None:
    """The new one stands in the body alone."""
    _, heard = spoken(answering(http()), lambda door: door.change(OLD, NEW))
    head, _, body = heard[0].partition(b"\r\n\r\n")
    assert b"old-canary-word" in head
    assert b"new-canary-word" not in head
    assert json.loads(body) == {"was": "old-canary-word", "will": "new-canary-word"}
    assert len(heard) == 1


@pytest.mark.parametrize(
    ("status", "kind"), [("422 X", Rejected), ("500 X", OutcomeUnknown), ("200 OK", type(None))]
)
def test_what_becomes_of_a_change(status: str, kind: type) -> None:
    """Typed like any write; neither secret is in what the device says."""
    said = json.dumps({"error": "old-canary-word, new-canary-word"}).encode()
    found, _ = spoken(answering(http(said, status)), lambda door: door.change(OLD, NEW))
    assert type(found) is kind
    assert "canary" not in str(found)


def test_inside_it_is_the_device_as_ever() -> None:
    """Signed in to with the secret that was given."""

    async def act(door: Door) -> Any:
        adapter = door.inside(NEW)
        try:
            return await adapter.read(frozenset[Part]())
        finally:
            await adapter.close()

    state, heard = spoken(answering(http(json.dumps(DEVICE["/api/info"]).encode())), act)
    assert state.identity.serial == "TM-118"
    assert b"new-canary-word" in heard[0]


def test_a_device_without_a_door() -> None:
    """It is not signed in to; a secret must fit the sign-in. Nothing says how: it is by hand."""
    by_hand = door_of(1, change_secret=None)
    assert by_hand is not None
    assert by_hand.by_hand
    assert door_of(1, sign_in=SignIn.NONE) is None
    door = door_of(1)
    assert door is not None
    assert not door.by_hand
    with pytest.raises(NoSecret, match="can't stand in a header"):
        door.check(Secret("", "with a space"))
    door.check(NEW)
    with pytest.raises(CallError):
        make_doors(a_plan(), {}, {PARTY.address: "nowhere"})
