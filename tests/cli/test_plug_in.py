"""A plug-in of another package through whole commands: a line box that speaks no HTTP."""

import importlib.util
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from orchestrator.credentials import Credentials
from orchestrator.facility.secret import Secret
from tests.cli.stage import ANSWERS, Ended, cutsheet
from tests.example import ROOT
from tests.keyrings import in_file
from tests.plug_in.box import WORD, Box, install, served, wheel

PLAN = """\
facility: Tern Point Radio
networks:
  media:
    subnet: 127.44.3.0/24
    numbering: {range: 1-2999, transit: 2990-2999, group_range: 239.194.0.0/16}
rooms: {rack: {site: point, network: media}}
devices:
  line-box:
    room: rack
    speaks: fulmar-box
    address: 127.44.3.61
    serial: FB-901
    credentials: boxes
    sources: {mic-1: {slot: "1", number: 611}, mic-2: {slot: "2"}}
"""
WANTED = """\
playbook: Line box, next numbers
devices:
  line-box: {sources: {mic-1: {number: 612, label: MIC TWO, enabled: true}}}
"""


@dataclass
class Facility:
    """A facility with a line box, and the box."""

    folder: Path
    box: Box

    def run(self, command: str, *more: str) -> Ended:
        """A whole command."""
        dials = command in {"survey", "dry-run", "apply", "undo", "audit", "resume"}
        ways = ("--connect", f"127.44.3.61=127.0.0.1:{self.box.port}") if dials else ()
        secret = {"CUTSHEET_CREDENTIAL_BOXES": WORD}
        return cutsheet(command, *more, "--facility", str(self.folder), *ways, **secret)


@pytest.fixture
def facility(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Facility]:
    """The package is installed beside the tool, and nothing else of it is known here."""
    monkeypatch.syspath_prepend(str(install(tmp_path / "site")))
    folder = tmp_path / "facility"
    (folder / "playbooks").mkdir(parents=True)
    (folder / "plan.yaml").write_text(PLAN, encoding="utf-8")
    (folder / "playbooks" / "boxes.yaml").write_text(WANTED, encoding="utf-8")
    with served() as box:
        yield Facility(folder, box)
    sys.modules.pop("fulmar_adapter", None)


def test_a_whole_change(facility: Facility) -> None:
    """Checked, surveyed, planned, applied step by step, audited, and taken back."""
    assert facility.run("check").status == 0
    assert "FB-2 serial FB-901" in facility.run("survey").out
    assert facility.run("dry-run").status == 1
    applied = facility.run("apply", "--yes", *ANSWERS)
    assert applied.status == 0, applied.said
    line = facility.box.lines["1"]
    assert (line.number, line.label, line.on) == (612, "MIC TWO", True)
    assert facility.run("dry-run").status == 0
    assert facility.run("audit").status == 0
    run = facility.run("runs", "--json").json["runs"][0]["id"]
    undone = facility.run("undo", run, "--yes", *ANSWERS)
    assert undone.status == 0, undone.said
    assert (line.number, line.label, line.on) == (611, "MIC ONE", True)


def test_its_secret_is_shown_nowhere(facility: Facility) -> None:
    """Though this box quotes what it was sent."""
    facility.box.trouble = "sign-in"
    surveyed = facility.run("survey")
    assert surveyed.status == 4
    assert "refused the sign-in" in surveyed.said
    facility.box.trouble = ""
    applied = facility.run("apply", "--yes", *ANSWERS)
    held = b"".join(path.read_bytes() for path in facility.folder.rglob("*") if path.is_file())
    for text in (surveyed.out + surveyed.err, applied.out + applied.err, held.decode("latin-1")):
        assert WORD not in text
        assert "canary" not in text


def test_a_broken_one_is_told_and_not_shown_as_a_traceback(
    facility: Facility, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By its package; the commands that need no device of it say so too."""
    (tmp_path / "site" / "fulmar_adapter.py").write_text("raise RuntimeError\n", encoding="utf-8")
    for command in ("check", "survey", "dry-run"):
        ended = facility.run(command)
        assert ended.status == 2
        assert "the plug-in fulmar-line-box 1.2 is broken" in ended.err
        assert "Traceback" not in ended.out + ended.err
    monkeypatch.setattr(sys, "path", [one for one in sys.path if not one.endswith("site")])
    gone = facility.run("check")
    assert gone.status == 3
    assert "fulmar-box" in gone.said


def installer() -> list[str]:
    """The command that installs packages here, kept from asking any index."""
    if importlib.util.find_spec("pip") is not None:
        return [sys.executable, "-m", "pip", "install", "--no-index", "--no-deps", "-q"]
    if (uv := shutil.which("uv")) is not None:
        return [uv, "pip", "install", "--offline", "--no-index", "--no-deps", "-q"]
    if os.environ.get("CI") == "true":
        pytest.fail("nothing installs packages here")
    pytest.skip("nothing installs packages here")


def test_a_wheel_that_was_really_installed(tmp_path: Path) -> None:
    """Built, installed without any index, found by its entry point by the command, and used.

    The command is a process of its own, which knows no more of it than what was installed.
    """
    site, folder = tmp_path / "site", tmp_path / "facility"
    (folder / "playbooks").mkdir(parents=True)
    (folder / "plan.yaml").write_text(PLAN, encoding="utf-8")
    (folder / "playbooks" / "boxes.yaml").write_text(WANTED, encoding="utf-8")
    install_it = [*installer(), "--target", str(site), str(wheel(tmp_path))]
    subprocess.run(install_it, check=True, capture_output=True, timeout=60)
    assert (site / "fulmar_line_box-1.2.dist-info" / "RECORD").exists()
    env = {**os.environ, "CUTSHEET_CREDENTIALS": "environment", "CUTSHEET_CREDENTIAL_BOXES": WORD}
    with served() as box:
        ways = ["--facility", str(folder), "--connect", f"127.44.3.61=127.0.0.1:{box.port}"]
        call = [sys.executable, "-m", "orchestrator.cli.main", "apply", "--yes", *ANSWERS, *ways]
        for found in ("", str(site)):
            path = os.pathsep.join([str(ROOT), *([found] if found else [])])
            ended = subprocess.run(
                call, check=False, capture_output=True, text=True, timeout=60,
                env={**env, "PYTHONPATH": path},
            )  # fmt: skip
            if not found:
                assert ended.returncode == 3, ended.stdout + ended.stderr
                assert "fulmar-box" in ended.stdout + ended.stderr
        assert ended.returncode == 0, ended.stdout + ended.stderr
        line = box.lines["1"]
        assert (line.number, line.label, line.on) == (612, "MIC TWO", True)


def test_its_secret_is_changed_by_it(facility: Facility, tmp_path: Path) -> None:
    """One device first, proved by a sign-in; the answer that is lost is found out."""
    with in_file(tmp_path / "ring.json"):
        Credentials({}).add("boxes", Secret("", WORD))
        connect = ("--connect", f"127.44.3.61=127.0.0.1:{facility.box.port}")
        ways = ("--facility", str(facility.folder), *connect)
        ring = {"CUTSHEET_CREDENTIALS": "keyring"}
        for word, trouble in (("canary-second-word", ""), ("canary-third-word", "unanswered")):
            facility.box.trouble = trouble
            call = ("credential", "rotate", "boxes", "--yes", *ways)
            ended = cutsheet(*call, typed=f"{word}\n", **ring)
            assert ended.status == 0, ended.said
            assert facility.box.word == word
            assert Credentials({}).current("boxes").reveal() == word
            assert "canary" not in ended.out + ended.err
