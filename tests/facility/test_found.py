"""What the devices say of themselves."""

import pytest

from orchestrator.facility.found import (
    AsFound,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    NotFound,
)

STATE = DeviceState(
    identity=Identity(serial="CV-1", model="CE-40", firmware="4.1"),
    interfaces={"main": InterfaceState(address="127.44.3.31", prefix=24)},
)
SURVEY = AsFound(
    facility="Tern Point Radio",
    taken_at="2026-03-01T02:00:00+00:00",
    devices={
        "here": Found(at="127.44.3.31", state=STATE, response_s=0.1),
        "gone": NotFound(at="127.44.3.41", why="nothing answers", kind="Unreachable"),
    },
)


@pytest.mark.parametrize(
    ("device", "state"), [("here", STATE), ("gone", None), ("never-asked", None)]
)
def test_a_state_is_given_only_for_what_was_found(device: str, state: DeviceState | None) -> None:
    """Not found, or not surveyed, is no state."""
    assert SURVEY.state(device) == state


def test_an_identity_reads_as_a_person_would_check_it() -> None:
    """Model and serial stand on the unit's plate."""
    assert str(STATE.identity) == "CE-40 serial CV-1"


def test_what_a_device_can_not_say_is_not_known() -> None:
    """Unsaved is unknown, not false, until a device says so."""
    assert STATE.unsaved is None
