"""The tour: the whole job told, in the time that a newcomer gives it."""

import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
import typer

from mocks import tour as module
from mocks.tour import Guide, TourFailed

ROOT = Path(__file__).parent.parent.parent


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, float, Path]:
    """What the tour printed, how long it took, and where it worked."""
    folder = tmp_path_factory.mktemp("tour") / "facility"
    started = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "mocks", "tour", "--keep", str(folder)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    return done.stdout, time.monotonic() - started, folder


def test_it_goes_through_the_whole_job(told: tuple[str, float, Path]) -> None:
    """Each part of the job is a stop, in its order."""
    stops = re.findall(r"^\d\. ([A-Z][a-z]+( [a-z']+)?)", told[0], re.MULTILINE)
    names = [name.split()[0] for name, _ in stops]
    assert names == ["The", "The", "The", "Apply", "Afterwards", "Undo", "The"]
    for command in ("check", "survey", "audit", "dry-run", "explain", "apply", "undo"):
        assert f"$ cutsheet {command}" in told[0]


def test_a_device_really_moves(told: tuple[str, float, Path]) -> None:
    """Asked without the tool, the engine answers at the bench before, and at home after."""
    answers = [line for line in told[0].splitlines() if line.startswith("  127.")]
    assert answers == [
        "  127.0.2.50: serial CV-20931 answers",
        "  127.44.3.31: nobody answers",
        "  127.0.2.50: nobody answers",
        "  127.44.3.31: serial CV-20931 answers",
    ]


def test_it_ends_with_the_verdict_and_where_the_notes_are(told: tuple[str, float, Path]) -> None:
    """No rule was broken, nothing on air was cut, and the notes lie where it says."""
    text, _, folder = told
    assert "safety rules broken      none, at any instant" in text
    assert "on air and interrupted   nothing" in text
    notes = sorted(folder.glob("runs/*/rollback-notes.md"))
    assert len(notes) == 2
    for path in notes:
        assert str(path) in text


def test_it_fits_a_terminal_and_a_minute(told: tuple[str, float, Path]) -> None:
    """At most 80 columns, but for paths; less than a minute."""
    wide = [line for line in told[0].splitlines() if len(line) > 80 and "/" not in line]
    assert wide == []
    assert told[1] < 60


def test_no_secret_is_told(told: tuple[str, float, Path]) -> None:
    """The simulated devices' invented secrets are not in what it prints."""
    assert "invented-gull" not in told[0]
    assert "three-wet-oars" not in told[0]


def test_a_command_that_ends_badly_ends_the_tour(tmp_path: Path) -> None:
    """The tour never tells of a job that did not happen."""
    guide = Guide(tmp_path, None, module._environment(module.WORLD))
    with pytest.raises(TourFailed, match="ended with 2, not 0"):
        guide.run("runs", "--facility", str(tmp_path))


def test_it_does_not_write_over_a_folder(tmp_path: Path) -> None:
    """A folder that is there already is left alone."""
    with pytest.raises(typer.BadParameter, match="is there already"):
        module.tour(keep=tmp_path)
    assert list(tmp_path.iterdir()) == []
