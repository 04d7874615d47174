"""Errors carry data, and one function words them."""

import pytest

from orchestrator import errors


def test_wording_names_device_place_and_fix() -> None:
    """A device error's words say which device, where, what was being done, and what to do."""
    said = errors.words(errors.Unreachable("north-engine", "127.44.3.31", "reading sources"))
    assert "north-engine at 127.44.3.31 does not answer, while reading sources" in said.what
    assert "cable" in said.fix


def test_busy_says_for_how_long() -> None:
    """What the device asked for in Retry-After stands in the words."""
    said = errors.words(errors.Busy("n", "a", "writing", retry_after_s=120))
    assert "for 120 s" in said.what


def test_problem_shows_the_source_line_with_a_pointer_under_the_column() -> None:
    """The pointer stands under the column that the problem names."""
    problem = errors.Problem("plan.yaml", 3, 5, "bad", "mend it", "    x: y")
    lines = errors.problem_words(problem).splitlines()
    assert lines[0] == "plan.yaml:3:5: bad"
    assert lines[2].index("^") - 4 == 4


@pytest.mark.parametrize("kind", errors.DeviceError.__subclasses__())
def test_every_device_error_has_words_and_a_fix(kind: type[errors.DeviceError]) -> None:
    """No kind of device error falls back to vague words."""
    said = errors.words(kind("dev", "1.2.3.4", "reading"))
    assert said.fix
    assert "dev at 1.2.3.4" in said.what
    assert kind.exit_status == errors.EXIT_DEVICE
