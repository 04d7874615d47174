"""What the options of a command come to."""

from pathlib import Path

import pytest

from orchestrator.cli.options import choice_of, desk_at, pairs
from orchestrator.errors import CallError
from tests.example import FACILITY


def test_pairs() -> None:
    """A reason may hold an equals sign; spaces around are no part of it."""
    given = ["listener:a/b = told them", "go:1=x=y"]
    assert pairs(given, "--accept", "NAME=REASON") == {"listener:a/b": "told them", "go:1": "x=y"}


@pytest.mark.parametrize("text", ["go:1", "go:1=", "=why", "go:1=  ", ""])
def test_a_name_without_a_reason(text: str) -> None:
    """Nothing is accepted without a reason."""
    with pytest.raises(CallError, match="is not NAME=REASON"):
        pairs([text], "--accept", "NAME=REASON")


def test_phases_are_rooms_with_commas() -> None:
    """In the order given."""
    choice = choice_of(["rack"], ["talks,rack", "news-booth"], ["go:1=x"], 4)
    assert choice.phases == (("talks", "rack"), ("news-booth",))
    assert (choice.rooms, choice.width) == (("rack",), 4)
    assert choice.accepted == {"go:1": "x"}


def test_the_option_wins_over_the_file(tmp_path: Path) -> None:
    """Both can be given; a wrong place is told before anything is done."""
    ways = tmp_path / "ways.yaml"
    ways.write_text("127.44.3.41: nowhere\n", encoding="utf-8")
    with pytest.raises(CallError, match="nowhere"):
        desk_at(FACILITY, None, None, ways)
    assert desk_at(FACILITY, None, ["127.44.3.41=localhost:9041"], ways).plan.devices
