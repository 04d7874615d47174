import pytest

from mocks.device import Device, Unit, text, whole
from mocks.makes.corvid import Corvid
from mocks.messages import Problem, Request
from mocks.state import Lan, Memory, State

STATE = State(Lan("127.44.3.31", 24), {}, {}, {"ptp_domain": 0, "ptp_priority": 128})
UNIT = Unit("north", "CE-40", "CV-1", "4.1.2", "engineer", "hidden-word", 0.15)


def test_secret_is_not_in_repr() -> None:
    """A unit can be printed without giving its secret away."""
    assert "hidden-word" not in repr(UNIT)


def test_uptime_counts_from_the_last_power_cycle() -> None:
    """The device has no clock of its own: the request brings the time."""
    device = Corvid(UNIT, Memory(STATE, STATE))
    device.reboot(at=100.0)
    assert device.uptime_s(Request("GET", "/unit", at=112.9)) == 12


def test_a_make_must_say_how_it_speaks() -> None:
    """The common part alone answers nothing."""
    device = Device(UNIT, Memory(STATE, STATE))
    for question in (device.refusal, device.paths, device.slot_paths):
        with pytest.raises(NotImplementedError):
            question()
    with pytest.raises(NotImplementedError):
        device.handle(Request("GET", "/"))


@pytest.mark.parametrize("value", [-1, 6, True, 2.0, "2", None])
def test_whole_refuses(value: object) -> None:
    """Only whole numbers within the bounds pass; true is no number."""
    with pytest.raises(Problem):
        whole(value, "it", 5)


@pytest.mark.parametrize("value", ["x" * 65, "a\nb", 5, None])
def test_text_refuses(value: object) -> None:
    """Only short, printable text passes."""
    with pytest.raises(Problem):
        text(value, "it")
    assert text("x" * 64, "it") == "x" * 64
