"""What becomes of several writes that went in one request."""

from dataclasses import replace

import pytest

from orchestrator.adapters.http.conversation import cleaned
from orchestrator.adapters.http.parts import doing_all, tell
from orchestrator.errors import Busy, PartlyRefused, Rejected
from orchestrator.facility.step import StepKind
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
