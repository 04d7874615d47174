"""What can't be done safely: a hazard with names, rule and way out, exit 1, and nothing written.

Each is tried over simulated devices, as ``dry-run`` and as ``apply`` with everything agreed to.
"""

import contextlib
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml

from tests.cli.stage import APPLY, MISKEYED, PROGRAMMES, Ended, Stage, staged
from tests.example import WORLD

SWAP = """\
playbook: A swap
devices:
  studio-south-engine:
    sources: {program-1: {number: 104}}
  news-booth-engine:
    sources: {program-1: {number: 102}}
"""


@contextlib.contextmanager
def _stage(
    folder: Path, playbook: str = "", *, kept: str = PROGRAMMES, as_it_is: Path = WORLD
) -> Iterator[Stage]:
    """A stage with one playbook: a text of one's own, or one of the example's."""
    with staged(folder, kept, as_it_is=as_it_is) as stage:
        if playbook:
            (stage.folder / "playbooks" / kept).write_text(playbook, encoding="utf-8")
        yield stage


def _transit(stage: Stage, becomes: str) -> None:
    """Put another line in the place of the plan's transit numbers."""
    path = stage.folder / "plan.yaml"
    lines = path.read_text(encoding="utf-8").splitlines()
    place = next(n for n, line in enumerate(lines) if "transit: 2990-2999" in line)
    lines[place] = becomes
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _refused(stage: Stage, name: str, *options: str) -> Ended:
    """See that dry-run and apply stop at the hazard ``name``, in words, before any write."""
    found = stage.run("dry-run", "--json", *options)
    assert found.status == 1, found.err
    hazard = next(h for h in found.json["hazards"] if h["name"] == name)
    assert hazard["grade"] in {"stops", "needs_name"}
    assert found.json["stopped"] is True
    text = stage.run("dry-run", *options)
    assert text.status == 1
    said = text.said
    # How long a silence lasts is measured anew by each survey.
    what = hazard["what"].partition(" That is ")[0]
    for part in (what, hazard["fix"], f"{name} ({hazard['rule']})"):
        assert " ".join(part.split()) in said, part
    assert "Nothing may be written until" in said
    applied = stage.run(*APPLY, *options)
    assert applied.status == 1, applied.said
    assert what in applied.said
    assert stage.writes() == 0
    assert stage.runs() == []
    return Ended(found.status, said, "")


def test_a_target_that_a_bystander_holds(tmp_path: Path) -> None:
    """The phone leaves 418, a microphone is to have it; but a return was keyed in there too."""
    playbook = """\
playbook: A microphone on the phone's number
devices:
  studio-south-io:
    sources: {phone: {number: 419}, mic-1: {number: 418}}
"""
    with _stage(tmp_path, playbook) as stage:
        ended = _refused(stage, "held:studio-south-io/mic-1:418")
    assert (
        "studio-south-io/mic-1 is to take number 418 on media, which studio-south-returns/input-8 "
        "holds and does not let go of in this change" in ended.said
    )
    assert "move studio-south-returns/input-8 too, or choose another number" in ended.said


def test_a_swap_with_no_transit_set_aside(tmp_path: Path) -> None:
    """Two sources can't change places directly, and the plan has no number to lend."""
    with _stage(tmp_path, SWAP) as stage:
        _transit(stage, "")
        ended = _refused(stage, "no-transit:studio-south-engine/program-1")
    assert (
        "studio-south-engine/program-1 (to 104) and news-booth-engine/program-1 (to" in ended.said
    )
    assert "set a vacant number aside in the plan (networks: media: numbering:" in ended.said


def test_too_little_transit(tmp_path: Path) -> None:
    """Three numbers go round one way and their groups the other: two to lend, and one is there."""
    playbook = """\
playbook: Round and round
devices:
  studio-south-engine:
    sources: {program-1: {number: 104, groups: ["239.194.0.111:5004"]}}
  news-booth-engine:
    sources: {program-1: {number: 111, groups: ["239.194.0.102:5004"]}}
  talks-engine:
    sources: {program-1: {number: 102, groups: ["239.194.0.104:5004"]}}
"""
    with _stage(tmp_path, playbook) as stage:
        _transit(stage, "      transit: 2990-2990")
        ended = _refused(stage, "too-little-transit:studio-south-engine/program-1")
    assert "can't be undone with what transit number is free to be lent: 2990" in ended.said
    assert "set 1 more aside in the plan" in ended.said


def test_an_order_of_rooms_that_is_impossible(tmp_path: Path) -> None:
    """A swap over two phases: what it would cost, the order that works, and the way to insist."""
    with _stage(tmp_path, SWAP) as stage:
        phases = ("--phase", "news-booth", "--phase", "studio-south,talks")
        ended = _refused(stage, "split-phases", *phases)
        assert "this order works: news-booth and studio-south" in ended.said
        assert "cost 1 transit number held over a go/no-go point" in ended.said
        assert "program-1 silent from phase 1 to phase 2, on transit 2990" in ended.said
        insisted = stage.run("dry-run", *phases, "--accept", "split-phases=a quiet night")
        assert insisted.status == 1  # there is something to change
        assert "Nothing may be written until" not in insisted.said


@pytest.fixture
def a_listener_on_418(tmp_path: Path) -> Path:
    """The facility, but that studio-south-engine/codec-2 listens to 418, which two sources hold."""
    world = yaml.safe_load(WORLD.read_text(encoding="utf-8"))
    world["devices"]["studio-south-engine"]["destinations"]["codec-2"] = {"number": 418}
    path = tmp_path / "world.yaml"
    path.write_text(yaml.safe_dump(world, sort_keys=False), encoding="utf-8")
    return path


def test_a_listener_that_is_ambiguous(tmp_path: Path, a_listener_on_418: Path) -> None:
    """Two sources hold 418 and one moves: nobody can tell which of them the listener means."""
    with _stage(tmp_path, kept=MISKEYED, as_it_is=a_listener_on_418) as stage:
        ended = _refused(stage, "ambiguous:studio-south-engine/codec-2")
        assert "studio-south-engine/codec-2 listens to 418" in ended.said
        for name in ("studio-south-io/phone", "studio-south-returns/input-8"):
            assert name in ended.said
        playbook = stage.folder / "playbooks" / MISKEYED
        text = playbook.read_text(encoding="utf-8")
        wish = "  studio-south-engine:\n    destinations: {codec-2: {listens_to: %s}}\n"
        playbook.write_text(text + wish % "studio-south-io/phone", encoding="utf-8")
        said = stage.run("dry-run").said
        assert "Nothing may be written until" not in said, "the way out that was named works"
