"""Apply, resume and undo as a user meets them: questions, refusals, work orders."""

import json
import re
from pathlib import Path

import pytest

from mocks.faults import Fault, Kind
from orchestrator.ledger.lock import hold
from tests.cli.stage import ANSWERS, APPLY, Stage

RACK = "rack-codec"


def nothing_written(stage: Stage) -> bool:
    """Whether no device was asked for a change, and no run is in the ledger."""
    return stage.writes() == 0 and stage.runs() == []


def test_questions_of_safety_are_answered_no_where_nobody_is(small: Stage) -> None:
    """``--yes`` agrees to the change and answers none of them."""
    ended = small.run("apply", "--yes")
    assert ended.status == 1
    assert "who-is-on-air: nobody is at the keyboard, so the answer is no" in ended.said
    assert "Nothing was written." in ended.said
    assert nothing_written(small)


@pytest.mark.parametrize("left_out", ["who-is-on-air", "monitors-down", "alert-chain"])
def test_each_of_them_is_needed(left_out: str, small: Stage) -> None:
    """Two of three are not enough."""
    names = {"who-is-on-air", "monitors-down", "alert-chain"} - {left_out}
    accepted = [part for name in names for part in ("--accept", f"{name}=a test")]
    assert small.run("apply", "--yes", *accepted).status == 1
    assert nothing_written(small)


def test_without_yes_nobody_agrees(small: Stage) -> None:
    """Without a terminal the change itself has to be agreed to beforehand."""
    ended = small.run("apply", *ANSWERS)
    assert ended.status == 1
    assert "say --yes" in ended.said
    assert nothing_written(small)


def test_json_is_one_document(small: Stage) -> None:
    """Questions and progress go to standard error: standard output is one document."""
    refused = small.run("apply", "--yes", "--json")
    assert refused.json["schema"] == "cutsheet/nothing-written/1"
    assert "who-is-on-air" in refused.json["why"]
    done = small.run(*APPLY, "--json")
    assert (done.status, done.json["schema"]) == (0, "cutsheet/run/1")
    assert re.search(r"^(\d+) of \1 ", done.err, re.MULTILINE)
    assert small.run(*APPLY, "--json").json["schema"] == "cutsheet/dry-run/1"


def test_a_bad_acceptance_is_a_wrong_call(small: Stage) -> None:
    """Nothing is accepted without a reason."""
    ended = small.run("apply", "--yes", "--accept", "who-is-on-air")
    assert ended.status == 2
    assert "is not NAME=REASON" in ended.err
    assert nothing_written(small)


def test_a_hazard_stops_it(small: Stage) -> None:
    """A listener elsewhere that has to follow needs a name: its hazard says how."""
    playbook = small.folder / "playbooks" / "programme-numbers.yaml"
    text = playbook.read_text(encoding="utf-8")
    playbook.write_text(text[: text.index("accepts:")], encoding="utf-8")
    ended = small.run(*APPLY)
    assert ended.status == 1
    assert f"listener:{RACK}/output-2" in ended.out
    assert "Nothing was written" in ended.out
    assert nothing_written(small)
    accepted = ("--accept", f"listener:{RACK}/output-2=master control was told")
    assert small.run(*APPLY, *accepted).status == 0


@pytest.mark.parametrize("command", [("undo", "r-99", "--yes"), ("resume", "r-99")])
def test_an_unknown_run(command: tuple[str, ...], small: Stage) -> None:
    """It is named, and nothing is written."""
    assert small.run(*APPLY).status == 0
    before = small.writes()
    ended = small.run(*command)
    assert ended.status == 2
    assert "r-99" in ended.err
    assert small.writes() == before


def test_nothing_to_go_on_with(small: Stage) -> None:
    """Without a run, and with none that is unfinished, resume says so."""
    assert small.run("resume").status == 2
    small.run(*APPLY)
    assert "no run is unfinished" in small.run("resume").err
    over = small.run("resume", small.last())
    assert over.status == 2
    assert "nothing to go on with" in over.err


def test_the_holder_is_named(small: Stage) -> None:
    """While another process works on the facility, this one is refused."""
    with hold(small.folder, "apply: the other one"):
        ended = small.run(*APPLY)
    assert ended.status == 2
    assert "the other one" in ended.err
    assert nothing_written(small)


def test_copies_of_the_notes(small: Stage, tmp_path: Path) -> None:
    """The notes are kept where the user says, too, and are the same."""
    assert small.run(*APPLY, "--keep-copy", str(tmp_path / "stick")).status == 0
    run = small.last()
    copy = (tmp_path / "stick" / f"rollback-notes-{run}.md").read_text(encoding="utf-8")
    own = small.folder / "runs" / run / "rollback-notes.md"
    assert copy == own.read_text(encoding="utf-8")


def test_undo_can_be_looked_at_first(small: Stage) -> None:
    """``undo --dry-run`` writes nothing and shows the way back."""
    small.run(*APPLY)
    before = small.writes()
    shown = small.run("undo", small.last(), "--dry-run", "--json")
    assert shown.status == 1
    assert {one["device"] for one in shown.json["changes"]} >= {RACK, "talks-engine"}
    assert small.writes() == before


def test_an_undo_of_which_nothing_is_left_is_taken_back_and_the_first_run_anew(
    small: Stage,
) -> None:
    """So an undo that can't get on does not keep its devices for ever."""
    assert small.run(*APPLY).status == 0
    run = small.last()
    for device in small.world.names:
        small.world.add_fault(device, Fault(Kind.REFUSE, method="PATCH", always=True))
        small.world.add_fault(device, Fault(Kind.REFUSE, method="PUT", always=True))
    assert small.run("undo", run, "--yes", *ANSWERS).status == 1
    stuck = small.last()
    shown = small.run("runs", stuck).said
    assert f"'cutsheet undo {stuck}', then 'cutsheet undo {run}' plans the way anew" in shown
    for device in small.world.names:
        small.world.clear_faults(device)
    assert "unfinished" in small.run("undo", run, "--yes", *ANSWERS).said
    ended = small.run("undo", stuck, "--yes")
    assert ended.status == 0, ended.said
    assert f"Nothing that {stuck} wrote is left: it counts as taken back." in ended.said
    assert small.run("undo", run, "--yes", *ANSWERS).status == 0
    states = [one["state"] for one in small.runs()]
    assert states == ["undone", "undone", "finished", "finished"]


def test_undo_asks_about_another_hand(small: Stage) -> None:
    """What somebody changed since is not put back without a name."""
    small.run(*APPLY)
    small.world.another_hand("talks-engine").set_source("program-1", number=119)
    ended = small.run("undo", small.last(), "--yes", *ANSWERS)
    assert ended.status == 1
    name = "changed-since:talks-engine/program-1:renumber"
    assert name in ended.said
    assert small.now("talks-engine").sources["program-1"].number == 119
    back = small.run("undo", small.last(), "--yes", *ANSWERS, "--accept", f"{name}=it was me")
    assert back.status == 0, back.out[-1500:]
    assert small.now("talks-engine").sources["program-1"].number == 111


@pytest.fixture
def order(small: Stage, tmp_path: Path) -> Path:
    """A work order for the programme numbers."""
    path = tmp_path / "order.json"
    made = small.run("dry-run", "--out", str(path), "--title", "The new order")
    assert made.status == 1
    assert small.writes() == 0
    return path


def test_a_work_order_is_applied(small: Stage, order: Path) -> None:
    """It runs just what was approved, under its title and digest."""
    approved = json.loads(order.read_text(encoding="utf-8"))
    ended = small.run(*APPLY, str(order))
    assert ended.status == 0, ended.out[-1500:]
    run = small.run("runs", small.last(), "--json").json
    assert (run["title"], run["digest"]) == ("The new order", approved["digest"])
    assert small.target_reached()
    again = small.run(*APPLY, str(order))
    assert again.status == 1
    assert "is no longer true" in again.said


def test_a_changed_byte(small: Stage, order: Path) -> None:
    """A work order that is not the one approved is a wrong document."""
    text = order.read_text(encoding="utf-8")
    order.write_text(re.sub(r'"number": 104\b', '"number": 105', text, count=1), encoding="utf-8")
    assert order.read_text(encoding="utf-8") != text
    ended = small.run(*APPLY, str(order))
    assert ended.status == 3
    assert "the sequence was changed" in ended.err
    assert nothing_written(small)


def test_a_device_changed_meanwhile(small: Stage, order: Path) -> None:
    """What differs is named, and nothing is written."""
    small.world.another_hand(RACK).set_source("1", label="FAR-END-ONE")
    ended = small.run(*APPLY, str(order))
    assert ended.status == 1
    assert f"{RACK} was changed since the order was approved: source input-1" in ended.said
    assert nothing_written(small)
    assert small.run(*APPLY, str(order), "--json").json["hazards"][0]["where"] == [RACK]


def test_no_work_order_beside_an_unfinished_run(small: Stage, order: Path) -> None:
    """Devices belong to a run until it is finished, whatever was approved before."""
    small.world.add_fault("talks-engine", Fault(Kind.REFUSE, method="PATCH", always=True))
    assert small.run(*APPLY).status == 1
    small.world.clear_faults("talks-engine")
    writes = small.writes()
    ended = small.run(*APPLY, str(order))
    assert ended.status == 1
    assert f"run {small.last()} is not finished" in ended.said
    beside = small.run(*APPLY)
    assert beside.status == 1
    assert f"unfinished:{small.last()}" in beside.said
    assert small.writes() == writes
