"""The commands about credentials, with a keyring in memory and with the environment."""

import io
from collections.abc import Iterator
from unittest.mock import patch

import pytest

from mocks.faults import Fault, Kind
from tests.cli.stage import Stage, cutsheet
from tests.keyrings import Memory, in_memory

IN_KEYRING = {"CUTSHEET_CREDENTIALS": "keyring"}
ENGINES = ("--user", "engineer")


@pytest.fixture(autouse=True)
def memory() -> Iterator[Memory]:
    """The keyring of this computer is one in memory."""
    with in_memory() as kept:
        yield kept


def add(name: str, secret: str, *options: str) -> int:
    """``credential add`` with the secret on standard input: its exit status."""
    ended = cutsheet("credential", "add", name, *options, typed=f"{secret}\n", **IN_KEYRING)
    assert secret not in ended.said or not secret
    return ended.status


def test_add_list_forget(memory: Memory) -> None:
    """Names are listed, secrets never; what is forgotten is gone."""
    assert cutsheet("credential", "list", **IN_KEYRING).said.startswith("Nothing is kept yet")
    assert add("studio-engines", "an-invented-word", *ENGINES) == 0
    assert add("nodes", "another-one") == 0
    assert cutsheet("credential", "list", **IN_KEYRING).out == "nodes\nstudio-engines\n"
    assert memory.kept["cutsheet", "studio-engines"] == (
        '{"user": "engineer", "secret": "an-invented-word"}'
    )
    assert cutsheet("credential", "forget", "nodes", **IN_KEYRING).status == 0
    assert cutsheet("credential", "list", **IN_KEYRING).out == "studio-engines\n"
    again = cutsheet("credential", "forget", "nodes", **IN_KEYRING)
    assert again.status == 2
    assert "no credential nodes" in again.err


def test_an_empty_secret() -> None:
    """It is not kept."""
    assert add("nodes", "") == 2
    assert cutsheet("credential", "list", **IN_KEYRING).said.startswith("Nothing is kept yet")


class Terminal(io.StringIO):
    """Standard input with somebody at it."""

    def isatty(self) -> bool:
        """Yes."""
        return True


def test_typed_at_a_terminal(memory: Memory) -> None:
    """It is asked for without being shown, twice."""
    with patch("typer.prompt", return_value="typed-word") as prompt:
        ended = cutsheet("credential", "add", "nodes", typed=Terminal(), **IN_KEYRING)
    assert ended.status == 0
    assert prompt.call_args.kwargs == {"hide_input": True, "confirmation_prompt": True}
    assert '"secret": "typed-word"' in memory.kept["cutsheet", "nodes"]


def test_tried_on_the_devices(small: Stage) -> None:
    """Each device says whether it takes the sign-in; nothing is written."""
    add("corvid-units", "invented-gull-on-a-wire", *ENGINES)
    add("tamarisk-units", "wrong-key")
    add("spare", "for-nobody")
    good = small.run("credential", "test", "corvid-units", *_ways(small), **IN_KEYRING)
    assert "master-control: signed in at 127.44.3.81 (CE-40 serial CV-20401)" in good.out
    assert "alert-inserter" not in good.out
    bad = small.run("credential", "test", "tamarisk-units", *_ways(small), **IN_KEYRING)
    assert bad.status == 4
    assert bad.out.count("refused the sign-in") >= 5
    idle = small.run("credential", "test", "spare", *_ways(small), **IN_KEYRING)
    assert (idle.status, idle.out) == (0, "spare is kept, and no device of the plan uses it.\n")
    assert small.writes() == 0


def test_all_take_it(stage: Stage) -> None:
    """Exit status 0 when every device does, and 4 when one does not answer."""
    assert stage.run("credential", "test", "corvid-units", *_ways(stage)).status == 0
    stage.world.add_fault("master-control", Fault(Kind.REFUSE, always=True))
    ended = stage.run("credential", "test", "corvid-units", *_ways(stage))
    assert ended.status == 4
    assert "master-control at 127.44.3.81 does not answer" in ended.said


def _ways(stage: Stage) -> tuple[str, str]:
    return "--connect-file", str(stage.map)


def test_none_behind_the_name(small: Stage) -> None:
    """A name without a secret is told with the way to set it."""
    ended = small.run("credential", "test", "nodes", *_ways(small), **IN_KEYRING)
    assert ended.status == 2
    assert "the keyring has no credential nodes" in ended.err
    assert "cutsheet credential add nodes" in ended.err


def test_from_the_environment() -> None:
    """Where the environment gives the secrets, they are listed and can't be kept here."""
    found = cutsheet("credential", "list").out.split()
    assert {"corvid-units", "tamarisk-units"} <= set(found)
    for call in (["add", "x"], ["forget", "corvid-units"]):
        ended = cutsheet("credential", *call, typed="word\n")
        assert ended.status == 2
        assert "environment" in ended.err
