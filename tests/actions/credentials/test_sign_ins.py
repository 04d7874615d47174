"""Secrets before anything is asked."""

import asyncio

import pytest

from orchestrator.actions.credentials.sign_ins import asked_once, check_sign_ins
from orchestrator.errors import CallError, NoSecret
from orchestrator.facility.plan import Device, Interface
from orchestrator.facility.secret import Secret
from tests.actions.acted import Adapter, Net

NET = Net({})


def made(name: str, *speaks: str) -> Device:
    """A device of the plan."""
    address = Interface("main", "media", "10.44.3.31")
    return Device(name=name, room="rack", interfaces=(address,), speaks=speaks)


def test_each_name_is_asked_for_once() -> None:
    """A secret, and the lack of one, are remembered; each call raises an error of its own."""
    asked: list[str] = []

    def secrets(name: str) -> Secret:
        asked.append(name)
        if name == "none":
            raise NoSecret("there is none", "add one")
        return Secret("", "word")

    once = asked_once(secrets)
    assert once("a") is once("a")
    errors = []
    for _ in range(2):
        with pytest.raises(NoSecret, match="there is none") as refused:
            once("none")
        errors.append(refused.value)
    assert errors[0] is not errors[1]
    assert errors[1].fix == "add one"
    assert asked == ["a", "none"]


def test_all_that_is_missing_is_told_at_once() -> None:
    """Grouped by what is missing; devices that are not spoken to need nothing."""

    def opened(device: str, address: str) -> Adapter:
        if device in {"a", "b"}:
            raise NoSecret("no engines", "add engines")
        if device == "c":
            raise NoSecret("no nodes", "add nodes")
        if device == "d":
            raise CallError("nothing describes it")
        return Adapter(NET, device, address)

    devices = [*(made(name, "x") for name in "abcde"), made("alert")]
    with pytest.raises(NoSecret) as refused:
        asyncio.run(check_sign_ins(devices, opened))
    assert refused.value.what == "no engines (needed by a, b); no nodes (needed by c)"
    assert refused.value.fix == "add engines; add nodes"
    assert NET.closed == [("e", "10.44.3.31")]
    asyncio.run(check_sign_ins(devices[-2:], opened))
