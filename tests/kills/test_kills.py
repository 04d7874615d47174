"""A real kill -9 at events of the ledger, all over the run; the command tries every one."""

from pathlib import Path

import pytest

from tests.cli.stage import PROGRAMMES
from tests.kills.trial import NEVER, die


@pytest.mark.parametrize(
    ("number", "moment"),
    [(1, "before"), (1, "after"), (2, "after"), (17, "before"), (38, "after"), (60, "before")],
)
def test_killed_at_an_event(number: int, moment: str, tmp_path: Path) -> None:
    """What was recorded stays, resume finishes, and the referee saw nothing broken."""
    found = die(tmp_path, number, moment, PROGRAMMES)
    assert found.died
    assert (found.stored >= number) == (moment == "after")
    assert not found.wrong


def test_beyond_the_last_event_it_lives(tmp_path: Path) -> None:
    """So that the command knows how many there are; killed after the last, the run is finished."""
    found = die(tmp_path / "lives", NEVER, "before", PROGRAMMES)
    assert not found.died
    assert not found.wrong
    last = die(tmp_path / "dies", found.stored, "after", PROGRAMMES, ends=found.ends)
    assert last.died
    assert not last.wrong
