"""A secret changed on all devices that use it, by whole commands, over sockets.

Each simulated device refuses everybody after three wrong tries in a row, as many real ones do.
"""

import json
import os
import signal
import subprocess
import sys
from base64 import b64encode
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest

from mocks.faults import Fault, Kind
from orchestrator.credentials import Credentials
from orchestrator.facility.secret import Secret
from tests.cli.stage import PROGRAMMES, Ended, Stage, cutsheet, staged
from tests.example import ROOT
from tests.keyrings import InFile, in_file

OLD = {"corvid-units": "invented-gull-on-a-wire", "tamarisk-units": "invented-three-wet-oars"}
USER = {"corvid-units": "engineer", "tamarisk-units": ""}
WORD = "canary-four-dry-buoys"
RING = {"CUTSHEET_CREDENTIALS": "keyring"}
ENGINES, NODES = "corvid-units", "tamarisk-units"
ELSEWHERE = frozenset({"alert-inserter", "talks-io", "studio-north-engine"})
"""Devices that the plan does not speak to, or that stand elsewhere until they are moved."""

CHANGE = {ENGINES: ("PUT", "/access"), NODES: ("PUT", "/api/key")}


@pytest.fixture
def ring(tmp_path: Path) -> Iterator[InFile]:
    """A keyring in a file that holds the secrets of the example."""
    with in_file(tmp_path / "ring.json") as kept:
        held = Credentials({})
        for name, word in OLD.items():
            held.add(name, Secret(USER[name], word))
        yield kept


@pytest.fixture
def stage(tmp_path: Path, ring: InFile) -> Iterator[Stage]:  # noqa: ARG001 - it has to be there
    """The example, whose devices lock after three wrong tries in a row."""
    with staged(tmp_path, PROGRAMMES) as found:
        for name in found.world.names:
            found.world.machine(name).access.locks_after = 3
        yield found
        assert not {name for name in found.world.names if found.world.machine(name).access.locked}


def rotate(stage: Stage, name: str, word: str = WORD) -> Ended:
    """``credential rotate`` with the new secret on standard input.

    One engine is not there yet, and one node is to come from elsewhere: they are left out.
    """
    left = {ENGINES: "studio-north-engine", NODES: "talks-io"}[name]
    return change(stage, name, "--without", left, word=word)


def change(stage: Stage, name: str, *more: str, word: str = WORD) -> Ended:
    """``credential rotate`` as it stands."""
    ways = ("--connect-file", str(stage.map), "--facility", str(stage.folder))
    return cutsheet("credential", "rotate", name, "--yes", *more, *ways, typed=f"{word}\n", **RING)


def run(stage: Stage, *arguments: str) -> Ended:
    """Any other command, with the keyring."""
    return stage.run(*arguments, **RING)


def users(stage: Stage, name: str) -> list[str]:
    """The devices that the plan gives the credential."""
    makes = {ENGINES: "corvid", NODES: "tamarisk"}
    plain = (one for one in stage.world.names if stage.world.machine(one).make == makes[name])
    return [one for one in plain if one not in ELSEWHERE]


def words(stage: Stage, name: str) -> set[str]:
    """The words that its devices take."""
    return {stage.world.machine(one).access.word for one in users(stage, name)}


def tried(stage: Stage, name: str) -> int:
    """The most wrong tries in a row that any of its devices has seen."""
    return max(stage.world.machine(one).access.most_wrong for one in users(stage, name))


def entries(ring: InFile, name: str) -> list[str]:
    """What the keyring holds for the name: the secret, and the one that is to follow it."""
    held = (ring.get_password("cutsheet", entry) for entry in (name, f"{name} (new)"))
    return [json.loads(each)["secret"] for each in held if each is not None]


@pytest.mark.parametrize("name", [ENGINES, NODES])
def test_a_secret_is_changed_everywhere(name: str, stage: Stage, ring: InFile) -> None:
    """Each device takes the new one, saved where it has to be, and the keyring holds it alone."""
    ended = rotate(stage, name)
    assert ended.status == 0, ended.said
    assert words(stage, name) == {WORD}
    assert {stage.world.machine(one).access.saved for one in users(stage, name)} == {WORD}
    assert entries(ring, name) == [WORD]
    assert tried(stage, name) == 0
    assert run(stage, "survey", "--device", users(stage, name)[0]).status == 0
    assert stage.referee.verdict().clean


FAULTS = {
    "the answer is lost": Kind.DROP_ANSWER,
    "the request is lost": Kind.DROP_REQUEST,
    "it says yes and does nothing": Kind.SAYS_YES,
    "it fails": Kind.ERROR,
    "it is busy": Kind.BUSY,
    "it restarts after it": Kind.REBOOT_AFTER,
}


@pytest.mark.parametrize(
    ("fault", "name"),
    [*((fault, NODES) for fault in FAULTS), *((fault, ENGINES) for fault in list(FAULTS)[:2])],
)
def test_what_goes_wrong_once_is_found_out(
    fault: str, name: str, stage: Stage, ring: InFile
) -> None:
    """By trying, within limits; then it is done, or it is taken up again and done."""
    method, path = CHANGE[name]
    victim = users(stage, name)[1]
    stage.world.add_fault(victim, Fault(FAULTS[fault], method, path, seconds=0.2))
    ended = rotate(stage, name)
    if ended.status != 0:
        assert ended.status == 1
        assert set(entries(ring, name)) == {OLD[name], WORD}
        assert "is being changed" in run(stage, "survey", "--device", victim).said
        again = run(stage, "resume")
        assert again.status == 0, again.said
    assert words(stage, name) == {WORD}
    assert entries(ring, name) == [WORD]
    assert tried(stage, name) <= 2


@pytest.mark.parametrize(
    ("nth", "ending"), [(2, "resume"), (2, "undo"), (2, "rotate"), (0, "rotate")]
)
def test_a_process_that_is_killed_in_the_middle(
    nth: int, ending: str, stage: Stage, ring: InFile
) -> None:
    """A real kill -9 before one of the writes: gone on with, taken back, or begun again."""
    method, path = CHANGE[NODES]
    call = ("rotate", NODES, "--yes", "--without", "talks-io", "--facility", str(stage.folder))
    started = [sys.executable, "-m", "orchestrator.cli.main", "credential", *call]
    with subprocess.Popen(
        [*started, "--connect-file", str(stage.map)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "CUTSHEET_CREDENTIALS": "keyring"}
        | {"PYTHON_KEYRING_BACKEND": "tests.keyrings.InFile"},
    ) as process:
        victim = users(stage, NODES)[nth]
        stage.world.add_fault(victim, Fault(Kind.CALL, method, path, do=process.kill))
        process.communicate(f"{WORD}\n".encode(), timeout=60)
        assert process.returncode == -signal.SIGKILL
    assert set(entries(ring, NODES)) == {OLD[NODES], WORD}
    unfinished = stage.last()
    arguments = {"resume": ("resume",), "undo": ("undo", unfinished, "--yes")}.get(ending)
    ended = rotate(stage, NODES, "another-word") if arguments is None else run(stage, *arguments)
    assert ended.status == 0, ended.said
    left = OLD[NODES] if ending == "undo" else WORD
    assert words(stage, NODES) == {left}
    assert entries(ring, NODES) == [left]
    assert tried(stage, NODES) <= 2
    assert run(stage, "survey", "--device", users(stage, NODES)[0]).status == 0


def test_a_device_that_never_takes_it(stage: Stage, ring: InFile) -> None:
    """The run pauses before any other is written to, and can be taken back."""
    victim = users(stage, ENGINES)[0]
    stage.world.add_fault(victim, Fault(Kind.ERROR, "PUT", "/access", status=501, always=True))
    ended = rotate(stage, ENGINES)
    assert ended.status == 1
    assert words(stage, ENGINES) == {OLD[ENGINES]}
    listed = cutsheet("credential", "list", **RING).out
    assert "corvid-units    is being changed" in listed
    notes = run(stage, "rollback-notes", stage.last()).said
    assert "'new' as corvid-units (new)" in notes
    assert run(stage, "undo", stage.last(), "--yes").status == 0
    assert entries(ring, ENGINES) == [OLD[ENGINES]]
    assert "being changed" not in cutsheet("credential", "list", **RING).out


@pytest.mark.parametrize("word", ["", OLD[ENGINES], "short", "with a\ttab"])
def test_words_that_can_not_be_the_new_one(word: str, stage: Stage, ring: InFile) -> None:
    """Nothing is left behind that would have to be cleared up, or it can be taken back."""
    ended = rotate(stage, ENGINES, word)
    assert ended.status in (1, 2)
    assert words(stage, ENGINES) == {OLD[ENGINES]}
    if len(entries(ring, ENGINES)) == 2:  # the device refused it
        assert word == "short"
        assert run(stage, "undo", stage.last(), "--yes").status == 0
    assert entries(ring, ENGINES) == [OLD[ENGINES]]


def test_a_device_that_does_not_answer_stops_it(stage: Stage, ring: InFile) -> None:
    """Before anything is kept or written; left out by name, it keeps the old one, which stays."""
    assert change(stage, ENGINES).status == 1
    assert entries(ring, ENGINES) == [OLD[ENGINES]]
    assert stage.writes() == 0
    assert rotate(stage, ENGINES).status == 0
    assert entries(ring, "corvid-units-old") == [OLD[ENGINES]]
    wrong = change(stage, ENGINES, "--without", "transmitter-feed")
    assert (wrong.status, "does not use corvid-units" in wrong.said) == (2, True)


def test_a_wrong_secret_in_the_keyring_locks_nobody_out(stage: Stage, ring: InFile) -> None:
    """Each device is tried once, and nothing is written."""
    Credentials({}).add(ENGINES, Secret("engineer", "not-the-word"))
    ended = rotate(stage, ENGINES)
    assert ended.status == 1
    assert "refused the sign-in" in ended.said
    assert tried(stage, ENGINES) == 1
    assert entries(ring, ENGINES) == ["not-the-word"]


def test_while_it_is_not_finished_nobody_is_signed_in_to(stage: Stage, ring: InFile) -> None:
    """A survey would try old secrets until accounts lock; adding or forgetting would lose one."""
    Credentials({}).begin_change(ENGINES, Secret("engineer", WORD))
    for command in ("survey", "apply", "dry-run"):
        ended = run(stage, command)
        assert ended.status == 2
        assert f"credential rotate {ENGINES}" in ended.said
    for call in (("add", ENGINES), ("forget", ENGINES)):
        assert cutsheet("credential", *call, typed="x\n", **RING).status == 2
    assert set(entries(ring, ENGINES)) == {OLD[ENGINES], WORD}
    assert rotate(stage, ENGINES, "not-asked-for").status == 0
    assert words(stage, ENGINES) == {WORD}


def test_no_secret_is_left_anywhere(stage: Stage, ring: InFile) -> None:
    """Not on the screen, not in the ledger, the notes or the stored states; in no form."""
    said = rotate(stage, NODES)
    shown = run(stage, "runs", stage.last()), run(stage, "runs", stage.last(), "--json")
    everything = "".join(one.out + one.err for one in (said, *shown)).encode()
    for path in stage.folder.rglob("*"):
        everything += path.read_bytes() if path.is_file() else b""
    for word in (OLD[NODES], WORD):
        for form in (word, quote(word, safe=""), b64encode(word.encode()).decode()):
            assert form.encode() not in everything
    assert entries(ring, NODES) == [WORD]


def test_what_is_over_can_not_be_taken_back(stage: Stage, ring: InFile) -> None:
    """The old secret is not kept; a run of another sort is undone as ever."""
    assert rotate(stage, ENGINES).status == 0
    ended = run(stage, "undo", stage.last(), "--yes")
    assert ended.status == 2
    assert "credential rotate corvid-units" in ended.said
    assert run(stage, "adopt", stage.last()).status in (0, 2)
    assert entries(ring, ENGINES) == [WORD]
