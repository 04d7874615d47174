"""The bench as a command: over sockets, at a terminal, in a namespace, and killed."""

import os
import pty
import re
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from tests.cli.benches import FACTORY, FRESH, HOMES, NODE, UNITS, Hands, benched
from tests.cli.stage import PATIENCE_S, SECRETS, Ended, Stage, facility
from tests.example import ROOT
from tests.test_computer import BENCH, in_namespace

NAMES = ("who-is-on-air", "monitors-down", "alert-chain", *(f"bench:{name}" for name in UNITS))
ANSWERED = tuple(part for name in NAMES for part in ("--accept", f"{name}=a test"))


def bench(stage: Stage, *options: str, wait: str = "20") -> Ended:
    """Run the bench, all answered."""
    return stage.run("bench", "--yes", "--wait", wait, *ANSWERED, *options)


def test_two_units_of_one_factory_address_join(tmp_path: Path) -> None:
    """Each met by its serial, alone; cables moved when it is said; nothing of the facility hurt."""
    with benched(tmp_path) as stage, Hands(stage, UNITS).at_work() as hands:
        done = bench(stage, "--json")
        assert done.status == 0, done.said
        assert hands.moves == list(UNITS)
        units = done.json["units"]
        assert done.json["schema"] == "cutsheet/bench/1"
        assert [(one["device"], one["serial"], one["state"]) for one in units] == [
            (FRESH, "CV-20931", "joined"),
            (NODE, "TM-7716", "joined"),
        ]
        assert done.err.count("MOVE THE CABLE NOW") == 2
        assert "talks-io will answer at 127.0.2.50 too" in done.said
        assert "aux-1: switch" in done.said
        assert {name: stage.now(name).lan.address for name in UNITS} == HOMES
        assert not stage.now(FRESH).sources["aux-1"].enabled
        assert stage.referee.verdict().clean
        again = bench(stage, "--json")
        assert again.status == 0
        assert {one["state"] for one in again.json["units"]} == {"joined before"}


def test_whichever_is_on_the_cable_is_taken(tmp_path: Path) -> None:
    """Units that share an address are told apart by their serials, so the order is free."""
    with benched(tmp_path) as stage, Hands(stage, (NODE, FRESH)).at_work() as hands:
        done = bench(stage)
        assert done.status == 0, done.said
        assert hands.moves == [NODE, FRESH]
        assert f"That is {NODE}, and not {FRESH}" in done.said
        assert stage.referee.verdict().clean


def test_a_cable_that_nobody_moves_pauses_the_run_and_it_goes_on(tmp_path: Path) -> None:
    """The unit is not lost: the words say what to move, and the next call finds it."""
    with benched(tmp_path) as stage:
        stage.world.pull_cable(NODE)
        with Hands(stage, (FRESH,), slow_s=30).at_work():
            done = bench(stage, "--unit", FRESH, wait="1")
        assert done.status == 1
        assert "PAUSED" in done.said
        assert "move its cable" in done.said
        stage.world.plug_in(FRESH)
        done = bench(stage, "--unit", FRESH)
        assert done.status == 0, done.said
        assert "it goes on" in done.said
        assert len(stage.runs()) == 1
        assert stage.referee.verdict().clean


@pytest.mark.parametrize("at", [1, 49, 52])
def test_killed_at_any_moment_it_goes_on(tmp_path: Path, at: int) -> None:
    """The real process is killed (SIGKILL); the next call finishes the run that was begun."""
    with benched(tmp_path) as stage:
        stage.world.pull_cable(NODE)
        line = re.compile(rf"^ *{at} of \d+ ", re.MULTILINE)
        with stage.started("bench", "--yes", "--unit", FRESH, "--wait", "20", *ANSWERED) as process:
            assert process.stdout is not None
            for said in process.stdout:
                if line.match(said):
                    break
            process.kill()
        done = bench(stage, "--unit", FRESH)
        assert done.status == 0, done.said
        assert len(stage.runs()) == 1
        assert stage.now(FRESH).lan.address == HOMES[FRESH]
        assert stage.referee.verdict().clean


def test_answers_from_a_file(tmp_path: Path) -> None:
    """A script needs no options of its own for them; without an answer it is no."""
    with benched(tmp_path) as stage:
        stage.world.pull_cable(NODE)
        answers = tmp_path / "answers.yaml"
        answers.write_text("".join(f"'{name}': a test\n" for name in NAMES[1:]), encoding="utf-8")
        done = stage.run("bench", "--yes", "--unit", FRESH, "--answers", str(answers))
        assert done.status == 1
        assert "who-is-on-air: no" in done.said
        assert stage.writes() == 0
        answers.write_text("".join(f"'{name}': a test\n" for name in NAMES), encoding="utf-8")
        done = stage.run("bench", "--yes", "--unit", FRESH, "--answers", str(answers))
        assert done.status == 0, done.said


def test_a_saved_survey_stands_for_a_facility_out_of_reach(tmp_path: Path) -> None:
    """With the facility's cables elsewhere, what it holds is taken from the survey."""
    with benched(tmp_path) as stage:
        stage.world.pull_cable(NODE)
        saved = str(tmp_path / "as-found.json")
        stage.run("survey", "--out", saved)
        for name in stage.world.names:
            if name not in UNITS:
                stage.world.pull_cable(name)
        stage.running.settle()
        done = bench(stage, "--unit", FRESH, "--as-found", saved)
        assert done.status == 0, done.said


def test_what_is_not_on_a_bench(tmp_path: Path) -> None:
    """A unit that no playbook reaches on one, and a facility that has none."""
    with benched(tmp_path) as stage:
        done = bench(stage, "--unit", "master-control")
        assert done.status == 2
        assert "no playbook reaches master-control on a bench" in done.said
        for path in (stage.folder / "playbooks").iterdir():
            path.unlink()
        done = bench(stage)
        assert done.status == 2
        assert "bench: true" in done.said


def test_a_person_at_the_terminal(tmp_path: Path) -> None:
    """In a pseudo-terminal: go and stop for the cable, yes for what is dangerous."""
    with benched(tmp_path) as stage, Hands(stage, (FRESH,)).at_work():
        stage.world.pull_cable(NODE)
        typed = Typist(
            {
                f"bench:{FRESH}": "go",
                "steps on studio-north-engine?": "y",
                "who-is-on-air: type": "yes",
                "monitors-down: type": "yes",
                "alert-chain: type": "yes",
            }
        )
        options = stage.options("bench")
        said = typed.run("bench", "--unit", FRESH, "--wait", "20", *options)
        assert typed.status == 0, said
        assert "All have joined" in said
        assert "[go/stop]" in said
        assert stage.referee.verdict().clean


def test_a_person_says_stop(tmp_path: Path) -> None:
    """Before anything was sent to the unit."""
    with benched(tmp_path) as stage:
        typed = Typist({f"bench:{FRESH}": "stop"})
        said = typed.run("bench", *stage.options("bench"))
        assert typed.status == 1, said
        assert "stopped before anything was written" in said
        assert stage.world.requests(FRESH) == 0


class Typist:
    """Somebody who types an answer when its question stands on the screen."""

    def __init__(self, answers: dict[str, str]) -> None:
        self.answers = dict(answers)
        self.status = -1

    def run(self, *arguments: str) -> str:
        """Run a command at a terminal of its own; give all that it showed."""
        master, slave = pty.openpty()
        process = subprocess.Popen(
            [sys.executable, "-m", "orchestrator.cli.main", *arguments],
            stdin=slave, stdout=slave, stderr=slave, close_fds=True,
            env={**os.environ, **SECRETS, "PYTHONPATH": str(ROOT), "COLUMNS": "80", "TERM": "dumb"},
        )  # fmt: skip
        os.close(slave)
        timer = threading.Timer(PATIENCE_S, process.kill)
        timer.start()
        shown = ""
        try:
            while piece := _read(master):
                shown += piece
                for question in [one for one in self.answers if one in shown]:
                    time.sleep(0.1)
                    os.write(master, f"{self.answers.pop(question)}\n".encode())
            self.status = process.wait()
        finally:
            timer.cancel()
            os.close(master)
        return " ".join(shown.split())


def _read(master: int) -> str:
    try:
        return os.read(master, 65536).decode("utf-8", "replace")
    except OSError:
        return ""  # the other end has gone


def _real_bench(folder: Path) -> Path:
    """A copy of the example whose bench is a cable, not this computer itself."""
    copied = facility(folder / "facility", "studio-north-new-engine.yaml")
    for path in (copied / "plan.yaml", copied / "playbooks" / "studio-north-new-engine.yaml"):
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace("127.0.2.", "192.0.2."), encoding="utf-8")
    return copied


def _in_namespace(folder: Path, *lines: str) -> "subprocess.CompletedProcess[str]":
    secrets = " ".join(f"{name}={value}" for name, value in SECRETS.items())
    options = " ".join(f"'{part}'" for part in ANSWERED)
    call = f"{secrets} {sys.executable} -m orchestrator.cli.main bench --yes --wait 1"
    return in_namespace(*lines, f"{call} --facility {_real_bench(folder)} {options}")


SECOND = ("ip link add w0 type veth", "ip addr add 192.0.2.8/24 dev w0", "ip link set w0 up")


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ((), "no interface of this computer has an address on 192.0.2.0/24"),
        ((*BENCH, *SECOND), "more than one way to 192.0.2.0/24: by b0 and by w0"),
        (
            (*BENCH, "ip route add default via 192.0.2.1"),
            "the default gateway, 192.0.2.1, is on the bench's subnet",
        ),
    ],
)
def test_a_second_way_to_the_bench_stops_it(
    tmp_path: Path, lines: tuple[str, ...], said: str
) -> None:
    """In a network namespace with such interfaces and routes: nothing is sent."""
    done = _in_namespace(tmp_path, *lines)
    shown = " ".join((done.stdout + done.stderr).split())
    assert said in shown
    assert "fix:" in shown
    assert "there may be a second way" in shown
    assert done.returncode == 1


def test_one_way_to_the_bench_is_gone(tmp_path: Path) -> None:
    """With one interface on it and no gateway the unit is looked for; here nobody is there."""
    done = _in_namespace(tmp_path, *BENCH)
    shown = " ".join((done.stdout + done.stderr).split())
    assert "192.0.2.254 with prefix length 24" in shown
    assert "nobody answers at 192.0.2.50, after 1 s" in shown
    assert done.returncode == 1
    assert FACTORY not in shown
