"""What becomes of several writes that went in one request."""

import asyncio
from collections.abc import Mapping
from dataclasses import replace

import pytest

from orchestrator.adapters.http.conversation import cleaned
from orchestrator.adapters.http.parts import doing_all, one_by_one, tell
from orchestrator.errors import (
    Busy,
    DeviceError,
    OutcomeUnknown,
    PartlyRefused,
    Rejected,
    Unreachable,
)
from orchestrator.facility.step import Step, StepKind
from tests.adapters.makes import PARTY, a_step

STEPS = [a_step(StepKind.DISABLE), a_step(StepKind.ENABLE), a_step(StepKind.DISABLE)]
AT = (PARTY.device, PARTY.address, "disabling")


def test_in_words() -> None:
    """How many, and of which kinds."""
    assert doing_all(STEPS) == "sending 3 steps (disable and enable) in one request"


def test_nothing_is_told_where_nothing_was_refused() -> None:
    """All were accepted."""
    tell(PARTY, "sending", {})


def test_what_was_refused_is_told_by_step() -> None:
    """With each one's own error."""
    refused = {"a": Rejected(*AT, "mute it first"), "b": Busy(*AT)}
    with pytest.raises(PartlyRefused) as told:
        tell(PARTY, "sending", refused)
    assert told.value.refused == refused
    assert told.value.said == "a: mute it first; b: Busy"


def test_what_is_said_is_cleaned_in_each() -> None:
    """A device may quote a secret in the answer to any part."""
    error = PartlyRefused(*AT, "a: wet oars", {"a": Rejected(*AT, "wet oars")})
    found = cleaned(error, lambda said: said.replace("wet oars", "(secret)"))
    assert isinstance(found, PartlyRefused)
    assert found == replace(error, said="a: (secret)", refused={"a": Rejected(*AT, "(secret)")})


def apart(wrong: Mapping[str, DeviceError]) -> tuple[list[str], DeviceError | None]:
    """Send three apart, of which some go wrong: what was sent, and what was told."""
    steps = [replace(each, id=name) for each, name in zip(STEPS, "abc", strict=True)]
    sent: list[str] = []

    async def send(step: Step) -> None:
        sent.append(step.id)
        if step.id in wrong:
            raise wrong[step.id]

    try:
        asyncio.run(one_by_one(PARTY, steps, send))
    except DeviceError as error:
        return sent, error
    return sent, None


def test_one_refusal_holds_up_nothing_else() -> None:
    """Each is sent; who was refused is told."""
    assert apart({}) == (["a", "b", "c"], None)
    sent, told = apart({"b": Rejected(*AT, "mute it first")})
    assert sent == ["a", "b", "c"]
    assert isinstance(told, PartlyRefused)
    assert list(told.refused) == ["b"]


def test_nothing_is_sent_after_one_that_nobody_answered() -> None:
    """What may have been done is found by reading; where nobody is there, nothing more goes out."""
    unknown, gone = OutcomeUnknown(*AT), Unreachable(*AT)
    assert apart({"b": unknown}) == (["a", "b"], unknown)
    assert apart({"a": gone}) == (["a"], gone)
    sent, told = apart({"b": gone})
    assert sent == ["a", "b"]
    assert isinstance(told, PartlyRefused)
    assert told.refused == {"b": gone, "c": gone}
